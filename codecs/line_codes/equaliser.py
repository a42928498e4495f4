"""Taking out what a tape's band smears from one symbol into its neighbours.

Symbols of +-1 come back as ``sum_j g_j s[k + j]``, with noise. The taps that undo it are fitted to the recording itself
by least squares against what was decided, stretch by stretch, because the angle of the head wanders and the treble
with it. Where a stretch tells nothing of a tap (a leader that repeats itself), the tap stays as it was.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

Values = NDArray[np.floating[Any]]

REACH = 3
"""Neighbours on either side."""

STRETCH = 768
"""Symbols over which one set of taps is fitted: fast enough for a head that wanders at 2 Hz, 7 taps at 1 % each."""

HOLD = 0.02
"""Weight of the taps that change nothing, as a share of the symbols."""

ROUNDS = 2


def equalised(values: Values, heard: NDArray[np.bool_]) -> Values:
    """``values`` freed of their neighbours, shape (n,).

    Args:
        values: symbols of about +-1.
        heard: which of them may be learnt from.
    """
    if values.size == 0:
        return values
    from ...kernels.stretch_sums import decided, filtered, squares

    half, taps = STRETCH // 2, 2 * REACH + 1
    stretches = -(-values.size // STRETCH)
    count = stretches * STRETCH
    padded = np.zeros(count + 2 * REACH, np.float32)
    padded[REACH : REACH + values.size] = values
    learnt = np.zeros(count, np.bool_)
    learnt[: values.size] = heard
    told = _between(np.count_nonzero(learnt.reshape(-1, half), axis=1).astype(np.float64))
    hold = HOLD * np.maximum(_of_four(told), 1)
    unchanged = np.zeros(taps)
    unchanged[REACH] = 1.0
    square = np.empty((2 * stretches, taps, taps))
    squares(learnt, padded, square)
    solved = np.linalg.inv(_of_four(_between(square)) + hold[:, None, None] * np.eye(taps))
    decisions, freed = padded[REACH:-REACH], np.empty(count, np.float32)
    right = np.empty((2 * stretches, taps))
    for _ in range(ROUNDS):
        decided(learnt, decisions, padded, right)
        fitted = solved @ (_of_four(_between(right)) + hold[:, None] * unchanged)[..., None]
        filtered(padded, fitted[..., 0].astype(np.float32), freed)
        decisions = freed
    return freed[: values.size]


def _between(sums: Values) -> Values:
    """With nothing before the first and after the last."""
    nothing = np.zeros_like(sums[:1])
    return np.concatenate((nothing, sums, nothing))


def _of_four(halves: Values) -> Values:
    """From sums over half stretches those over each stretch and half of one to either side."""
    pairs = halves[:-1] + halves[1:]
    return pairs[:-2:2] + pairs[2::2]
