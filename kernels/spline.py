"""The cubic B-spline of numbers on an even grid, in double precision."""

from __future__ import annotations

import numpy as np
from numba import types
from numpy.typing import NDArray

from .compiled import compiled

_ROWS = types.Array(types.float64, 2, "C", readonly=True)
_PLACES = types.Array(types.float64, 1, "C", readonly=True)
_OUT = types.Array(types.float64, 2, "C")


@compiled(types.void(_ROWS, _PLACES, _OUT))
def splines(coefficients: NDArray[np.float64], places: NDArray[np.float64], out: NDArray[np.float64]) -> None:
    """Write each spline at each place.

    Args:
        coefficients: of each, shape (splines, steps); place 0 lies on the second one.
        places: in steps of the grid, from 0 to below steps - 3; shape (places,).
        out: shape (splines, places).
    """
    for k in range(coefficients.shape[0]):
        row = coefficients[k]
        for i in range(places.size):
            whole = np.uint64(places[i])
            u = places[i] - np.float64(whole)
            v = 1 - u
            total = v * v * v / 6 * row[whole]
            total += (2 / 3 - u * u * (1 - u / 2)) * row[whole + np.uint64(1)]
            total += (2 / 3 - v * v * (1 - v / 2)) * row[whole + np.uint64(2)]
            out[k, i] = total + u * u * u / 6 * row[whole + np.uint64(3)]
