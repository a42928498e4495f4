"""Where every block of a frame lies in a stream, the ones whose sync word or header was damaged too."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .block_format import BlockFormat
from .sync_search import Sighting

_MARGIN = 8  # bits by which a clock may slip between two blocks without a trace
_RIVALS = 8  # how many numbers to either side are weighed against a number
_WIDEST_PITCHES = 8  # a gap whose ends differ by more blocks than this is searched at its ends only


@dataclass(frozen=True, slots=True)
class Place:
    """Where a block lies.

    Attributes:
        start: bit of the stream where its sync word starts.
        polarity: +1, or -1 if the stream is inverted there.
    """

    start: int
    polarity: int


def placed(links: Sequence[Sighting], total: int, values: NDArray[np.float32], blocks: BlockFormat) -> dict[int, Place]:
    """The blocks whose place is known, by number: the links themselves, and what can be told from them.

    A block between two others lies where both say it does. Where they differ, or where only one neighbour is known, it
    is looked for around there: by now its whole header is known. A block that shows nothing of it is not placed.
    """
    search = _Search(total, values, blocks, {link.number: Place(link.place, link.polarity) for link in links})
    numbers = sorted(search.known)
    if not numbers:
        return {}
    for number in range(numbers[0] - 1, -1, -1):
        if not search.places(number, None, number + 1):
            break
    for earlier, later in zip(numbers, [*numbers[1:], None], strict=True):
        before = earlier
        for number in range(earlier + 1, blocks.blocks(total) if later is None else later):
            if search.places(number, before, later):
                before = number
            elif later is None:
                break
    return search.known


@dataclass(frozen=True, slots=True)
class _Search:
    total: int
    values: NDArray[np.float32]
    blocks: BlockFormat
    known: dict[int, Place]

    def places(self, number: int, before: int | None, after: int | None) -> bool:
        """Adds block ``number`` to the known ones if it can be placed between these two, or beside the one there is."""
        pitch, lead = self.blocks.pitch, self.blocks.lead_bits
        neighbours = [other for other in (before, after) if other is not None]
        expected = [self.known[other].start + (number - other) * pitch for other in neighbours]
        if len(expected) == 2 and expected[0] == expected[1]:
            seen = self._best_match(number, expected[0], expected[0])
            self.known[number] = seen or Place(expected[0], self.known[neighbours[0]].polarity)
            return True
        if max(expected) - min(expected) <= _WIDEST_PITCHES * pitch:
            windows = [(min(expected) - _MARGIN, max(expected) + _MARGIN)]
        else:
            windows = [(place - _MARGIN, place + _MARGIN) for place in expected]
        earliest = 0 if before is None else self.known[before].start + lead
        latest = self.values.size - lead if after is None else self.known[after].start - lead
        for first, last in windows:
            found = self._best_match(number, max(first, earliest), min(last, latest))
            if found is not None and self._is_no_other(number, found, before, after):
                self.known[number] = found
                return True
        return False

    def _best_match(self, number: int, first: int, last: int) -> Place | None:
        """Where from ``first`` to ``last`` a block's start fits best, if at most a quarter of its bits are wrong.

        Random bits fit that well with a chance of 1e-6 at each place and polarity (96 bits, binomial).
        """
        pattern = self._start_of(number)
        if last < first or first < 0 or last + pattern.size > self.values.size:
            return None
        agreement = np.correlate(np.sign(self.values[first : last + pattern.size]), pattern, "valid")
        best = int(np.argmax(np.abs(agreement)))
        if abs(agreement[best]) < pattern.size / 2:
            return None
        return Place(first + best, 1 if agreement[best] > 0 else -1)

    def _is_no_other(self, number: int, place: Place, before: int | None, after: int | None) -> bool:
        """Whether no other block that could lie there fits better: headers of neighbours have many bits in common."""
        first = (number - _RIVALS if before is None else before) + 1
        last = (number + _RIVALS if after is None else after) - 1
        heard = np.sign(self.values[place.start : place.start + self.blocks.lead_bits]) * place.polarity
        own = float(heard @ self._start_of(number))
        rivals = range(
            max(first, number - _RIVALS, 0), min(last, number + _RIVALS, self.blocks.blocks(self.total) - 1) + 1
        )
        return all(float(heard @ self._start_of(rival)) < own for rival in rivals if rival != number)

    def _start_of(self, number: int) -> NDArray[np.float32]:
        """Sync word and header of a block, +-1."""
        start = np.concatenate([self.blocks.sync, self.blocks.header(number, self.total)])
        return 2.0 * start.astype(np.float32) - 1.0
