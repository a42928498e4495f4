"""The start mark: 32 bits between leader and data that say where the data begins.

It is found by correlation with the soft bits of the end of a leader and the mark together, so that many bits may be
wrong or missing, and still a run of chance data is not taken for it.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...contracts.bits import Bits
from ...contracts.decoded import Event
from ...contracts.soft_bits import CERTAIN, SoftBits

START_BITS: Bits = np.array([0x36CE7423 >> (31 - i) & 1 for i in range(32)], np.uint8)
"""As many ones as zeros; of 300,000 such words drawn, the one least like itself shifted into a leader of any kind."""

CONTEXT = 24
"""Bits of the leader that count with the mark."""

_CUT = 8
"""Bits of the mark that may lie before the first bit heard."""

_ALIKE = 0.65
"""Least correlation: up to 9 of all 56 bits wrong, which chance data is once in 8 million places."""

_OWN = 13
"""Bits by which the mark alone must agree, lest a leader before a dropout pass for leader and mark."""

_AT_ONCE = 2048
"""Places looked at before others are: most leaders are no longer."""


def data_begin(values: NDArray[np.floating[Any]], leader: Bits) -> int | None:
    """Where the first bit after the earliest start mark stands in ``values``; None if no mark is heard.

    Args:
        values: log-likelihood ratios, shape (n,).
        leader: the last ``CONTEXT`` bits of the leader.
    """
    pattern = 2.0 * np.concatenate((leader, START_BITS)) - 1.0
    before = CONTEXT + _CUT
    for begin in range(0, values.size + before - pattern.size + 1, _AT_ONCE):
        low = begin - before
        near = np.tanh(values[max(low, 0) : low + _AT_ONCE + pattern.size + START_BITS.size] / 2)
        if low < 0:
            near = np.concatenate((np.zeros(-low, near.dtype), near))
        score = np.correlate(near, pattern, "valid")
        own = np.correlate(near[CONTEXT:], pattern[CONTEXT:], "valid")
        sums = np.concatenate(([0.0], np.cumsum(np.abs(near))))
        weight = sums[pattern.size :] - sums[: -pattern.size]
        alike = score / np.maximum(weight, START_BITS.size - _CUT + 1.0)
        found = np.flatnonzero((alike > _ALIKE) & (own > _OWN))
        if found.size:
            fit = (alike + own[: alike.size] / START_BITS.size)[found[0] : found[0] + START_BITS.size]
            best = found[0] + np.argmax(fit)
            return begin + int(best) + START_BITS.size - _CUT
    return None


def earliest(marks: list[int | None]) -> int | None:
    """Where the first track with a mark has it; None if no track has one."""
    return next((mark for mark in marks if mark is not None), None)


def from_the_marks(
    streams: Sequence[NDArray[np.floating[Any]]],
    marks: list[int | None],
    times_s: NDArray[np.float64],
    events: list[Event],
) -> SoftBits:
    """The bits after the start mark of each track, in turn; a track without one takes it where another has it.

    Args:
        streams: log-likelihood ratios of each track, from one time on.
        marks: where the data begins in each.
        times_s: of the bits of a track.
        events: what was noticed before.
    """
    start = earliest(marks)
    if start is None:
        events = [*events, Event("no start mark heard: all bits are handed on")]
    parts = [stream[start or 0 if mark is None else mark :] for stream, mark in zip(streams, marks, strict=True)]
    length = min(part.size for part in parts)
    times_s = times_s[start or 0 :][:length]
    values = parts[0][:length]
    if len(parts) > 1:
        values = np.stack([part[:length] for part in parts], 1).ravel()
        times_s = np.repeat(times_s, len(parts))
    return SoftBits(np.clip(values, -CERTAIN, CERTAIN), times_s, tuple(events))
