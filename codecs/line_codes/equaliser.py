"""Taking out what a tape's band smears from one symbol into its neighbours.

Symbols of +-1 come back as ``sum_j g_j s[k + j]``, with noise. The taps that undo it are fitted to the recording itself
by least squares against what was decided, stretch by stretch, because the angle of the head wanders and the treble
with it. Where a stretch tells nothing of a tap (a leader that repeats itself), the tap stays as it was.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Values = NDArray[np.float64]

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
    half = STRETCH // 2
    stretches = -(-values.size // STRETCH)
    padded = np.pad(values, (REACH, stretches * STRETCH - values.size + REACH))
    around = np.lib.stride_tricks.sliding_window_view(padded, 2 * REACH + 1)
    learnt = np.pad(heard, (0, len(around) - heard.size))
    rows = (around * learnt[:, None]).reshape(2 * stretches, half, -1).swapaxes(1, 2)
    told = np.pad(learnt.reshape(-1, half).sum(axis=1), 1)
    hold = HOLD * np.maximum(_of_four(told), 1)
    unchanged = np.zeros(2 * REACH + 1)
    unchanged[REACH] = 1.0
    square = _of_four(_between(rows @ rows.swapaxes(1, 2))) + hold[:, None, None] * np.eye(unchanged.size)
    freed = padded[REACH:-REACH]
    for _ in range(ROUNDS):
        decided = np.sign(freed).reshape(2 * stretches, half, 1)
        right = _of_four(_between(rows @ decided)) + (hold[:, None] * unchanged)[..., None]
        taps = np.linalg.solve(square, right)
        freed = (around.reshape(stretches, STRETCH, -1) @ taps).ravel()
    return freed[: values.size]


def _between(sums: Values) -> Values:
    """With nothing before the first and after the last."""
    return np.pad(sums, ((1, 1), (0, 0), (0, 0)))


def _of_four(halves: Values) -> Values:
    """From sums over half stretches those over each stretch and half of one to either side."""
    pairs = halves[:-1] + halves[1:]
    return pairs[:-2:2] + pairs[2::2]
