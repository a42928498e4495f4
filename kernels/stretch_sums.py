"""Sums over stretches of a row and the filtering by taps of their own: what fitting taps stretch by stretch needs."""

from __future__ import annotations

import numpy as np
from numba import types
from numpy.typing import NDArray

from .compiled import compiled

Row = NDArray[np.float32]
Chosen = NDArray[np.bool_]

AT_ONCE = 1024
"""Times that are smoothed at once: few enough to stay in the nearest cache."""

_DOUBLES = types.Array(types.float64, 1, "C")
_CHOSEN = types.Array(types.boolean, 1, "C")
_ROW = types.Array(types.float32, 1, "C")
_TAPS = types.Array(types.float32, 2, "C")


@compiled(fastmath=True)
def _dot(left: Row, right: Row) -> np.float32:
    total = np.float32(0.0)
    for k in range(left.size):
        total += left[k] * right[k]
    return total


@compiled(ahead=(_CHOSEN, _ROW, types.Array(types.float64, 3, "C"), _DOUBLES), fastmath=True, brief=True)
def squares(chosen: Chosen, values: Row, out: NDArray[np.float64], counted: NDArray[np.float64]) -> None:
    """Sums of the products of ``values`` at every two lags, stretch by stretch.

    Args:
        chosen: which places count, shape (stretches * length,).
        values: as many and the highest lag more.
        out: shape (stretches, lags, lags).
        counted: out, how many places count, shape (stretches,).
    """
    length, lags = chosen.size // out.shape[0], out.shape[1]
    own = np.empty(length, np.float32)
    for stretch in range(out.shape[0]):
        begin = stretch * length
        counts = chosen[begin : begin + length]
        number = 0
        for k in range(length):
            number += counts[k]
        counted[stretch] = number
        for first in range(lags):
            shifted = values[begin + first : begin + first + length]
            for k in range(length):
                own[k] = shifted[k] if counts[k] else np.float32(0.0)
            for lag in range(first, lags):
                total = _dot(own, values[begin + lag : begin + lag + length])
                out[stretch, first, lag] = total
                out[stretch, lag, first] = total


@compiled(ahead=(_CHOSEN, _ROW, _ROW, types.Array(types.float64, 2, "C")), fastmath=True, brief=True)
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


@compiled(ahead=(_ROW, _TAPS, _ROW), fastmath=True, brief=True)
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


@compiled(ahead=(_DOUBLES, _ROW, _TAPS), fastmath=True, brief=True)
def smooth(times: NDArray[np.float64], errors: Row, taps: NDArray[np.float32]) -> None:
    """Add ``errors`` to ``times`` and filter them by ``taps``, as if they went on beyond either end as they came.

    Args:
        times: nearly even; more than half as many as there are taps.
        taps: shape (1, odd), symmetric; their sum is 1.
    """
    last, margin = times.size - 1, taps.shape[1] // 2
    around = np.empty(AT_ONCE + 2 * margin)
    bent, out = np.empty(around.size, np.float32), np.empty(AT_ONCE, np.float32)
    beyond = np.empty(margin)
    for k in range(times.size):
        times[k] += errors[k]
    for k in range(margin):
        around[k] = 2 * times[0] - times[margin - k]
        beyond[k] = 2 * times[last] - times[last - 1 - k]
    for begin in range(0, times.size, AT_ONCE):
        count = min(AT_ONCE, times.size - begin)
        own = times[begin : begin + count]
        for k in range(count):
            around[margin + k] = own[k]
        for k in range(margin):
            place = begin + count + k
            around[margin + count + k] = times[place] if place <= last else beyond[place - last - 1]
        # A line passes unchanged; what is left without it is small enough for single precision.
        start, slope = around[0], (around[count + 2 * margin - 1] - around[0]) / (count + 2 * margin - 1)
        for k in range(count + 2 * margin):
            bent[k] = around[k] - (start + slope * k)
        filtered(bent, taps, out[:count])
        for k in range(count):
            own[k] = start + slope * (margin + k) + out[k]
        for k in range(margin):
            around[k] = around[count + k]
