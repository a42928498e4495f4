"""Sums over stretches of a row and the filtering by taps of their own: what fitting taps stretch by stretch needs."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from .compiled import compiled

Row = NDArray[np.float32]


@compiled(fastmath=True)
def products(weights: Row, values: Row, first: int, out: NDArray[np.float64]) -> None:
    """Sum of ``weights`` times ``values``, shifted by every lag from ``first`` on, stretch by stretch.

    Args:
        weights: shape (stretches * length,).
        values: as many and the highest lag more.
        out: shape (stretches, lags); lags below ``first`` are left as they are.
    """
    length = weights.size // out.shape[0]
    for stretch in range(out.shape[0]):
        begin = stretch * length
        own = weights[begin : begin + length]
        for lag in range(first, out.shape[1]):
            shifted = values[begin + lag : begin + lag + length]
            total = np.float32(0.0)
            for k in range(length):
                total += own[k] * shifted[k]
            out[stretch, lag] = total


@compiled(fastmath=True)
def filtered(values: Row, taps: NDArray[np.float32], out: Row) -> None:
    """Each of ``out`` is what stands in ``values`` from its place on, by the taps of its stretch.

    Args:
        values: as many as ``out``, and one less than the taps more.
        taps: shape (stretches, taps).
        out: shape (stretches * length,).
    """
    length = out.size // taps.shape[0]
    for stretch in range(taps.shape[0]):
        begin = stretch * length
        into = out[begin : begin + length]
        for k in range(length):
            into[k] = 0.0
        for lag in range(taps.shape[1]):
            tap = taps[stretch, lag]
            shifted = values[begin + lag : begin + lag + length]
            for k in range(length):
                into[k] += tap * shifted[k]
