"""Sums over stretches of a row and the filtering by taps of their own: what fitting taps stretch by stretch needs."""

from __future__ import annotations

import numpy as np
from numba import types
from numpy.typing import NDArray

from .compiled import compiled

Row = NDArray[np.float32]
Chosen = NDArray[np.bool_]

_CHOSEN = types.Array(types.boolean, 1, "C")
_ROW = types.Array(types.float32, 1, "C")
_TAPS = types.Array(types.float32, 2, "C")


@compiled(fastmath=True)
def _dot(left: Row, right: Row) -> np.float32:
    total = np.float32(0.0)
    for k in range(left.size):
        total += left[k] * right[k]
    return total


@compiled(ahead=(_CHOSEN, _ROW, types.Array(types.float64, 3, "C")), fastmath=True)
def squares(chosen: Chosen, values: Row, out: NDArray[np.float64]) -> None:
    """Sums of the products of ``values`` at every two lags, stretch by stretch.

    Args:
        chosen: which places count, shape (stretches * length,).
        values: as many and the highest lag more.
        out: shape (stretches, lags, lags).
    """
    length, lags = chosen.size // out.shape[0], out.shape[1]
    own = np.empty(length, np.float32)
    for stretch in range(out.shape[0]):
        begin = stretch * length
        counts = chosen[begin : begin + length]
        for first in range(lags):
            shifted = values[begin + first : begin + first + length]
            for k in range(length):
                own[k] = shifted[k] if counts[k] else np.float32(0.0)
            for lag in range(first, lags):
                total = _dot(own, values[begin + lag : begin + lag + length])
                out[stretch, first, lag] = total
                out[stretch, lag, first] = total


@compiled(ahead=(_CHOSEN, _ROW, _ROW, types.Array(types.float64, 2, "C")), fastmath=True)
def decided(chosen: Chosen, symbols: Row, values: Row, out: NDArray[np.float64]) -> None:
    """Sums of the signs of ``symbols`` times ``values`` at every lag, stretch by stretch.

    Args:
        chosen: which places count; symbols: shape (stretches * length,).
        values: as many and the highest lag more.
        out: shape (stretches, lags).
    """
    length = chosen.size // out.shape[0]
    own = np.empty(length, np.float32)
    for stretch in range(out.shape[0]):
        begin = stretch * length
        counts, symbol = chosen[begin : begin + length], symbols[begin : begin + length]
        for k in range(length):
            own[k] = np.copysign(np.float32(1.0), symbol[k]) if counts[k] else np.float32(0.0)
        for lag in range(out.shape[1]):
            out[stretch, lag] = _dot(own, values[begin + lag : begin + lag + length])


@compiled(ahead=(_ROW, _TAPS, _ROW), fastmath=True)
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
        last = taps.shape[1] - 1
        # Two at a time: the sums so far are read and written half as often.
        for lag in range(0, taps.shape[1], 2):
            odd = min(lag + 1, last)
            tap = taps[stretch, lag]
            next_tap = taps[stretch, odd] if lag < last else np.float32(0.0)
            here, there = values[begin + lag : begin + lag + length], values[begin + odd : begin + odd + length]
            for k in range(length):
                into[k] += tap * here[k] + next_tap * there[k]
