"""Cutting the bodies of blocks out of a stream, also where the clock slipped within one, and merging their copies."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...contracts.soft_bits import CERTAIN, SoftBits
from .block_format import BlockFormat
from .block_places import Place

_MOST_SLIPS = 64  # bits gained or lost within a block that are still made good
_WEAK_SPOT = 16  # bits over which confidence is averaged to find where the clock slipped


@dataclass(frozen=True, slots=True)
class Body:
    """A body with its check, as heard once.

    Attributes:
        values: soft bits, data then check, in true polarity; zero where nothing was heard.
        times_s: of the data bits, shape (data bits,).
        sound: whether the check holds; the data is certain then.
    """

    values: NDArray[np.float32]
    times_s: NDArray[np.float64]
    sound: bool

    @property
    def data(self) -> NDArray[np.float32]:
        """The soft bits without the check."""
        return self.values[: self.times_s.size]


def body_of(heard: SoftBits, known: dict[int, Place], number: int, total: int, blocks: BlockFormat) -> Body | None:
    """The body of a block as ``heard``; None if the block has no known place or nothing of its body was heard."""
    place = known.get(number)
    if place is None:
        return None
    length = blocks.data_bits(number, total) + blocks.check_bits
    start = place.start + blocks.lead_bits
    values = heard.values[start : start + length] * np.float32(place.polarity)
    if values.size == 0 and length > 0:
        return None
    times = _times(heard.times_s, start, blocks.data_bits(number, total))
    whole = np.zeros(length, np.float32)
    whole[: values.size] = values
    following = known.get(number + 1)
    body = _checked(whole, times, number, total, blocks)
    if not body.sound and following is not None:
        span: NDArray[np.float32] = np.multiply(
            heard.values[start : following.start - blocks.preamble.size], np.float32(place.polarity)
        )
        if 0 < abs(span.size - length) <= min(_MOST_SLIPS, length // 4):
            return _checked(_spliced(span, length), times, number, total, blocks)
    return body


def merged(bodies: Sequence[Body], number: int, total: int, blocks: BlockFormat) -> Body:
    """One body from at least one: the first that is sound, else the sum of all, which may be sound."""
    for body in bodies:
        if body.sound:
            return body
    if len(bodies) == 1:
        return bodies[0]
    added = np.add.reduce([body.values for body in bodies], axis=0, dtype=np.float32)
    return _checked(added, bodies[0].times_s, number, total, blocks)


def _checked(
    values: NDArray[np.float32], times_s: NDArray[np.float64], number: int, total: int, blocks: BlockFormat
) -> Body:
    sound = blocks.checks(number, total, (values > 0).astype(np.uint8))
    if sound:
        values = np.where(values > 0, CERTAIN, -CERTAIN).astype(np.float32)
    return Body(values, times_s, sound)


def _times(times_s: NDArray[np.float64], start: int, length: int) -> NDArray[np.float64]:
    """Times of ``length`` bits from ``start``; beyond the end of the stream its last time."""
    places = np.minimum(np.arange(start, start + length), times_s.size - 1)
    return times_s[places]


def _spliced(span: NDArray[np.float32], length: int) -> NDArray[np.float32]:
    """``span`` brought to ``length`` where it is weakest: that is where a clock slips.

    Both ends then stand right. Where no spot is weaker than the rest, the middle is the best guess.
    """
    surplus = span.size - length
    window = max(_WEAK_SPOT, surplus)
    strength = np.abs(span)
    middle = (span.size - max(surplus, 0)) // 2
    at = middle
    if span.size > window:
        average = np.convolve(strength, np.full(window, 1 / window), "valid")
        weakest = int(np.argmin(average))
        if average[weakest] < 0.75 * np.median(average):
            at = min(weakest + (window - max(surplus, 0)) // 2, span.size - max(surplus, 0))
    gap = np.zeros(max(-surplus, 0), np.float32)
    return np.concatenate([span[:at], gap, span[at + max(surplus, 0) :]])
