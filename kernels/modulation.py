"""A gain that changes slowly: one plus the cubic B-spline of numbers drawn on an even grid."""

from __future__ import annotations

import numpy as np
from numba import types
from numpy.typing import NDArray

from .compiled import compiled

_FLOATS = types.Array(types.float32, 1, "C")
_READ = types.Array(types.float32, 1, "C", readonly=True)


@compiled(types.void(_FLOATS, _READ, types.float64, types.float64), fastmath=True)
def modulate(row: NDArray[np.float32], coefficients: NDArray[np.float32], per_frame: float, start: float) -> None:
    """Multiply one track by one plus the spline, in place.

    Args:
        row: shape (frames,).
        coefficients: of the B-spline; place 0 lies on the second one. At least 4 more than the grid steps needed.
        per_frame: grid steps a frame, below 1.
        start: place of frame 0, 0 to below 1.
    """
    frames = row.size
    begin = 0
    cell = 0
    while begin < frames:
        end = min(frames, int(np.ceil((cell + 1 - start) / per_frame)))
        a, b, c, d = coefficients[cell], coefficients[cell + 1], coefficients[cell + 2], coefficients[cell + 3]
        # The four pieces of the B-spline, gathered by powers of the place within the cell.
        p0 = (a + np.float32(4) * b + c) * np.float32(1 / 6) + np.float32(1)
        p1 = (c - a) * np.float32(0.5)
        p2 = (a + c) * np.float32(0.5) - b
        p3 = (d - a) * np.float32(1 / 6) + (b - c) * np.float32(0.5)
        u0 = np.float32(begin * per_frame + start - cell)
        du = np.float32(per_frame)
        piece = row[begin:end]
        for i in range(piece.size):
            u = u0 + du * np.float32(i)
            piece[i] *= p0 + u * (p1 + u * (p2 + u * p3))
        begin = end
        cell += 1
