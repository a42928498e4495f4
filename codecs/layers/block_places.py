"""Where every block of a frame lies in a stream, the ones whose sync word or header was damaged too."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .block_format import BlockFormat
from .sync_search import Sighting

_MARGIN = 8  # bits by which a clock may slip between two blocks without a trace
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
    known = {link.number: Place(link.place, link.polarity) for link in links}
    if not known:
        return known
    numbers = sorted(known)
    before: int | None
    for number in range(numbers[0] - 1, -1, -1):
        if not _look_for(number, None, number + 1, known, total, values, blocks):
            break
    for earlier, later in zip(numbers, [*numbers[1:], None], strict=True):
        before = earlier
        for number in range(earlier + 1, blocks.blocks(total) if later is None else later):
            if _look_for(number, before, later, known, total, values, blocks):
                before = number
            elif later is None:
                break
    return known


def _look_for(
    number: int,
    before: int | None,
    after: int | None,
    known: dict[int, Place],
    total: int,
    values: NDArray[np.float32],
    blocks: BlockFormat,
) -> bool:
    """Adds block ``number`` to ``known`` if it can be placed between two known neighbours, or beside one."""
    neighbours = [other for other in (before, after) if other is not None]
    expected = [known[other].start + (number - other) * blocks.pitch for other in neighbours]
    pattern = np.concatenate([blocks.sync, blocks.header(number, total)])
    if len(expected) == 2 and expected[0] == expected[1]:
        seen = _best_match(values, pattern, expected[0], expected[0])
        known[number] = seen or Place(expected[0], known[neighbours[0]].polarity)
        return True
    if max(expected) - min(expected) <= _WIDEST_PITCHES * blocks.pitch:
        windows = [(min(expected) - _MARGIN, max(expected) + _MARGIN)]
    else:
        windows = [(place - _MARGIN, place + _MARGIN) for place in expected]
    for first, last in windows:
        found = _best_match(values, pattern, first, last)
        if found is not None:
            known[number] = found
            return True
    return False


def _best_match(values: NDArray[np.float32], pattern: NDArray[np.uint8], first: int, last: int) -> Place | None:
    """Where from ``first`` to ``last`` the pattern fits best, if at most a quarter of it is wrong.

    Random bits fit that well with a chance of 1e-6 at each place and polarity (96 bits, binomial).
    """
    first = max(first, 0)
    heard = np.sign(values[first : max(last, 0) + pattern.size])
    if last < first or heard.size < pattern.size:
        return None
    agreement = np.correlate(heard, 2.0 * pattern.astype(np.float32) - 1.0, "valid")
    best = int(np.argmax(np.abs(agreement)))
    if abs(agreement[best]) < pattern.size / 2:
        return None
    return Place(first + best, 1 if agreement[best] > 0 else -1)
