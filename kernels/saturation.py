"""Saturation between a pre-emphasis and its exact inverse: an odd curve that flattens, x (27 + x^2) / (27 + 9 x^2).

That is the Pade form of the hyperbolic tangent (within 2.4 % of it), which reaches 1 with no slope at x = 3; it needs
one division and no library call. The inverse of the pre-emphasis is a recursion of one multiply-add a frame, which has
to wait for the last output: those of both tracks wait together.

The curve works at twice the sample rate: on every frame, and on the sound halfway to the next by a half-band filter.
What it adds to the sound goes through the same filter on the way back, so that harmonics beyond half the sample rate
are lost, as on a tape, and do not fold back. A small signal passes exactly as it is.
"""

from __future__ import annotations

from functools import cache

import numpy as np
from numba import types
from numpy.typing import NDArray

from .compiled import compiled

BLOCK_FRAMES = 1024
"""Few enough that all arrays of a block stay in the nearest cache."""

FLATTENS_AT = 3.0

TAPS = 8
"""On either side of halfway."""

DESIGN_BAND = 0.32
"""In cycles a frame: 14 kHz at 44.1 kHz."""

_REACH = 2 * TAPS
_27 = np.float32(27)
_9 = np.float32(9)
_HALF = np.float32(0.5)
_NOTHING = np.float32(0)
_MOST = np.float32(FLATTENS_AT)
_LEAST = np.float32(-FLATTENS_AT)
_FORGOTTEN = np.float32(1e-18)
"""360 dB below full scale."""
_STRETCH = 32
_FLOATS = types.Array(types.float32, 1, "C")
_READ = types.Array(types.float32, 1, "C", readonly=True)


@cache
def halfway() -> NDArray[np.float32]:
    """Weights of the nearest frames on either side of halfway, outwards, shape (8,): float32, read-only.

    They minimise the mean square error over frequencies up to ``DESIGN_BAND``; it stays 80 dB down.
    """
    frequencies = DESIGN_BAND * np.arange(400) / 399
    matrix = 2 * np.cos(2 * np.pi * np.outer(frequencies, np.arange(TAPS) + 0.5))
    found: NDArray[np.float32] = np.linalg.lstsq(matrix, np.ones(400), rcond=None)[0].astype(np.float32)
    found.flags.writeable = False
    return found


@compiled(types.void(_FLOATS, _FLOATS, types.float32, types.float32, _READ), fastmath=True)
def saturate(
    left: NDArray[np.float32],
    right: NDArray[np.float32],
    drive: np.float32,
    pole: np.float32,
    weights: NDArray[np.float32],
) -> None:
    """Send both tracks through the curve in place.

    Args:
        left, right: shape (frames,); beyond them there is silence.
        drive: factor before the curve, taken back after it.
        pole: of the inverse of the pre-emphasis (1 - pole z^-1) / (1 - pole); 0 is no pre-emphasis.
        weights: ``halfway()``.
    """
    window = BLOCK_FRAMES + 2 * _REACH
    history = np.empty((2, _REACH + 1), np.float32)
    for i in range(_REACH + 1):
        history[0, i] = history[1, i] = _NOTHING
    heard = np.empty(window + 1, np.float32)
    lifted = np.empty(window, np.float32)
    between = np.empty(window, np.float32)
    both = np.empty((2, BLOCK_FRAMES), np.float32)
    left_after = np.float32(0)
    right_after = np.float32(0)
    share = np.float32(1) - pole
    up = drive / share
    back = np.float32(1) / drive
    betweens = window - 2 * TAPS + 1
    for start in range(0, left.size, BLOCK_FRAMES):
        for track in range(2):
            row = left if track == 0 else right
            added = both[track]
            known = min(BLOCK_FRAMES + _REACH, row.size - start)
            for i in range(_REACH + 1):
                heard[i] = history[track, i]
            coming = row[start : start + known]
            into = heard[_REACH + 1 : _REACH + 1 + known]
            for i in range(known):
                into[i] = coming[i]
            for i in range(_REACH + 1 + known, heard.size):
                heard[i] = _NOTHING
            for i in range(_REACH + 1):
                history[track, i] = heard[BLOCK_FRAMES + i]
            for i in range(window):
                lifted[i] = up * (heard[i + 1] - pole * heard[i])
            # between[j] lies halfway from lifted[j + TAPS - 1] to the next.
            for j in range(betweens):
                between[j] = _NOTHING
            for k in range(0, TAPS, 2):
                w1, w2 = weights[k], weights[k + 1]
                b1, a1 = lifted[TAPS - 1 - k :], lifted[TAPS + k :]
                b2, a2 = lifted[TAPS - 2 - k :], lifted[TAPS + 1 + k :]
                for j in range(betweens):
                    between[j] += w1 * (b1[j] + a1[j]) + w2 * (b2[j] + a2[j])
            for j in range(betweens):
                x = between[j]
                c = min(max(x, _LEAST), _MOST)
                square = c * c
                between[j] = c * (_27 + square) / (_27 + _9 * square) - x
            middle = lifted[_REACH : _REACH + BLOCK_FRAMES]
            for i in range(BLOCK_FRAMES):
                x = middle[i]
                c = min(max(x, _LEAST), _MOST)
                square = c * c
                added[i] = x + _HALF * (c * (_27 + square) / (_27 + _9 * square) - x)
            for k in range(0, TAPS, 2):
                w1, w2 = _HALF * weights[k], _HALF * weights[k + 1]
                b1, a1 = between[TAPS - k :], between[TAPS + 1 + k :]
                b2, a2 = between[TAPS - 1 - k :], between[TAPS + 2 + k :]
                for i in range(BLOCK_FRAMES):
                    added[i] += w1 * (b1[i] + a1[i]) + w2 * (b2[i] + a2[i])
            for i in range(BLOCK_FRAMES):
                added[i] = share * added[i]
        left_out, right_out = left[start : start + BLOCK_FRAMES], right[start : start + BLOCK_FRAMES]
        left_added, right_added = both[0], both[1]
        for first in range(0, left_out.size, _STRETCH):
            # In silence the recursion would shrink into subnormal numbers, which cost a hundred times as much, here and
            # in every stage after this one.
            if -_FORGOTTEN < left_after < _FORGOTTEN:
                left_after = _NOTHING
            if -_FORGOTTEN < right_after < _FORGOTTEN:
                right_after = _NOTHING
            for i in range(first, min(first + _STRETCH, left_out.size)):
                left_after = back * left_added[i] + pole * left_after
                right_after = back * right_added[i] + pole * right_after
                left_out[i] = left_after
                right_out[i] = right_after
