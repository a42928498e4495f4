"""Cutting the bodies of blocks out of a stream, also where the clock slipped, and merging their copies."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...contracts.soft_bits import CERTAIN, SoftBits
from .block_format import BlockFormat
from .block_places import Place
from .passes import added

_MOST_SLIPS = 64  # bits gained or lost between two known blocks that are still made good
_WEAK_SPOT = 16  # bits over which confidence is averaged to find where the clock slipped
_WEAK = 0.75  # a spot is weak if its confidence is below this share of the median


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


class Cutter:
    """Cuts bodies out of one pass.

    Args:
        heard: the pass.
        known: where its blocks lie, by number.
        total: data bits of the frame.
        blocks: the layout.
    """

    def __init__(self, heard: SoftBits, known: dict[int, Place], total: int, blocks: BlockFormat) -> None:
        self._heard = heard
        self._known = known
        self._numbers = sorted(known)
        self._total = total
        self._blocks = blocks

    def body(self, number: int) -> Body | None:
        """The body of a block; None if it has no place or nothing of it was heard.

        It is cut behind its own sync word if that is known. If it fails its check so, or has no place of its own, and
        the stream to the next known block has some bits too many or too few, these are made good where the stream is
        weakest, which is where a clock slips.
        """
        place = self._known.get(number)
        straight = None
        if place is not None:
            start = place.start + self._blocks.lead_bits
            straight = self._straight(start, start + self._length(number), number, place.polarity)
            if straight is not None and straight.sound:
                return straight
        return self._spliced(number) or straight

    def _length(self, number: int) -> int:
        return self._blocks.data_bits(number, self._total) + self._blocks.check_bits

    def _straight(self, start: int, stop: int, number: int, polarity: int) -> Body | None:
        """The body whose bits follow each other."""
        if not 0 <= start <= stop <= len(self._heard):
            return self._cut(np.arange(start, stop), number, polarity)
        values = self._heard.values[start:stop] * np.float32(polarity)
        return checked(values, self._times(self._heard.times_s[start:stop], number), number, self._total, self._blocks)

    def _times(self, times_s: NDArray[np.float64], number: int) -> NDArray[np.float64]:
        """Of the data bits, in order even where two places of the stream were mixed up."""
        return np.maximum.accumulate(times_s)[: self._blocks.data_bits(number, self._total)]

    def _cut(self, places: NDArray[np.intp], number: int, polarity: int) -> Body | None:
        """The body whose bits lie at ``places`` of the stream; a place below zero or beyond the end was not heard."""
        inside = (places >= 0) & (places < len(self._heard))
        if places.size and not inside.any():
            return None
        near = places.clip(0, max(len(self._heard) - 1, 0))
        values = np.where(inside, self._heard.values[near] * np.float32(polarity), np.float32(0))
        times = self._times(self._heard.times_s[near], number)
        return checked(values, times, number, self._total, self._blocks)

    def _spliced(self, number: int) -> Body | None:
        after = bisect_right(self._numbers, number)
        if after in (0, len(self._numbers)):
            return None
        earlier, later = self._numbers[after - 1], self._numbers[after]
        first, last = self._known[earlier], self._known[later]
        length = (later - earlier) * self._blocks.pitch
        surplus = last.start - first.start - length
        if not 0 < abs(surplus) <= min(_MOST_SLIPS, self._blocks.pitch // 4):
            return None
        places = np.arange(first.start, last.start)
        at = _weakest(np.abs(self._heard.values[first.start : last.start]), surplus)
        if surplus > 0:
            places = np.delete(places, slice(at, at + surplus))
        else:
            places = np.insert(places, at, np.full(-surplus, -1))
        start = (number - earlier) * self._blocks.pitch + self._blocks.lead_bits
        return self._cut(places[start : start + self._length(number)], number, first.polarity)


def merged(bodies: Sequence[Body], number: int, total: int, blocks: BlockFormat) -> Body:
    """One body from at least one: the first that is sound, else the sum of all, which may be sound."""
    for body in bodies:
        if body.sound:
            return body
    if len(bodies) == 1:
        return bodies[0]
    return checked(added([body.values for body in bodies]), bodies[0].times_s, number, total, blocks)


def checked(
    values: NDArray[np.float32], times_s: NDArray[np.float64], number: int, total: int, blocks: BlockFormat
) -> Body:
    """A body from soft bits, certain if its check holds."""
    sound = blocks.checks(number, total, (values > 0).astype(np.uint8))
    if sound:
        values = np.where(values > 0, CERTAIN, -CERTAIN).astype(np.float32)
    return Body(values, times_s, sound)


def _weakest(strength: NDArray[np.float32], surplus: int) -> int:
    """Where to take out ``surplus`` bits, or put some in: the weakest spot, or the middle if none is weaker.

    Taken from the middle, half of what lies between is right at either end.
    """
    taken = max(surplus, 0)
    middle = (strength.size - taken) // 2
    window = max(_WEAK_SPOT, taken)
    if strength.size <= window:
        return middle
    average = np.convolve(strength, np.full(window, 1 / window, np.float32), "valid")
    weakest = int(np.argmin(average))
    if average[weakest] >= _WEAK * np.median(average):
        return middle
    equally_weak = np.flatnonzero(average <= average[weakest] + 1e-6)
    centre = int(equally_weak[equally_weak.size // 2]) + window // 2
    return max(0, min(centre - taken // 2, strength.size - taken))
