"""Taking out what a tape's band smears from one symbol into its neighbours.

Symbols of +-1 come back as ``sum_j g_j s[k + j]``, with noise. The taps that undo it are fitted to the recording itself
by least squares against what was decided, stretch by stretch, because the angle of the head wanders and the treble
with it. Where a stretch tells nothing of a tap (a leader that repeats itself), the tap stays as it was.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from .scratch import scratch

Values = NDArray[np.floating[Any]]

REACH = 3
"""Neighbours on either side."""

STRETCH = 768
"""Symbols over which one set of taps is fitted: fast enough for a head that wanders at 2 Hz, 7 taps at 1 % each."""

HOLD = 0.02
"""Weight of the taps that change nothing, as a share of the symbols."""

ROUNDS = 2

_SAME = np.eye(2 * REACH + 1)


def equalised(
    values: NDArray[np.float32], heard: NDArray[np.bool_], out: NDArray[np.float32] | None = None
) -> NDArray[np.float32]:
    """``values`` freed of their neighbours, shape (n,).

    Args:
        values: symbols of about +-1.
        heard: which of them may be learnt from.
        out: where to; may be ``values`` themselves.
    """
    from ...kernels.stretch_sums import decided, filtered, squares

    out = np.empty(values.size, np.float32) if out is None else out
    taps = 2 * REACH + 1
    stretches = -(-values.size // STRETCH)
    count = stretches * STRETCH
    learnt = np.zeros(count, np.bool_)
    learnt[: values.size] = heard
    # Over half stretches each, with nothing before the first and after the last.
    square, told, right = (np.zeros((2 * stretches + 2, *shape)) for shape in ((taps, taps), (), (taps,)))
    with scratch(count + 2 * REACH, count) as (padded, freed):
        padded[:REACH] = padded[REACH + values.size :] = 0
        padded[REACH : REACH + values.size] = values
        squares(learnt, padded, square[1:-1], told[1:-1])
        hold = HOLD * np.maximum(_of_four(told), 1)
        solved = np.linalg.inv(_of_four(square) + hold[:, None, None] * _SAME)
        decisions = padded[REACH:-REACH]
        for _ in range(ROUNDS):
            decided(learnt, decisions, padded, right[1:-1])
            fitted = solved @ (_of_four(right) + hold[:, None] * _SAME[REACH])[..., None]
            filtered(padded, fitted[..., 0].astype(np.float32), freed)
            decisions = freed
        out[:] = freed[: values.size]
    return out


def _of_four(halves: Values) -> Values:
    """From sums over half stretches those over each stretch and half of one to either side."""
    pairs = halves[:-1] + halves[1:]
    return pairs[:-2:2] + pairs[2::2]
