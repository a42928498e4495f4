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
    around = np.lib.stride_tricks.sliding_window_view(np.pad(values, REACH), 2 * REACH + 1)
    unchanged = np.zeros(2 * REACH + 1)
    unchanged[REACH] = 1.0
    freed = values
    for _ in range(ROUNDS):
        decided = np.sign(freed)
        freed = freed.copy()
        for begin in range(0, values.size, STRETCH):
            inside = slice(begin, begin + STRETCH)
            known = slice(max(begin - STRETCH // 2, 0), begin + STRETCH + STRETCH // 2)
            rows = around[known][heard[known]]
            hold = HOLD * max(len(rows), 1)
            square = rows.T @ rows + hold * np.eye(unchanged.size)
            taps = np.linalg.solve(square, rows.T @ decided[known][heard[known]] + hold * unchanged)
            freed[inside] = around[inside] @ taps
    return freed
