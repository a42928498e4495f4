"""Which of the sync words seen are the frame's own, and where the blocks between them lie.

True blocks follow each other at a fixed distance; a sync word in the data, or one that noise has made, does not. The
chain is the series of sightings with rising numbers that has the greatest weight, where every step off the fixed
distance costs something.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from .block_format import BlockFormat
from .sync_search import Sighting

FEW_SLIPS = 64
"""A step that is off by no more than this many bits is a slip of the clock; more is a jump."""

_HEADER_WEIGHT, _BODY_WEIGHT = 1.0, 2.0
_SLIP_COST, _JUMP_COST = 0.5, 2.0
_LOOK_BACK = 64
_MOST_TOTALS = 16


@dataclass(frozen=True, slots=True)
class Chain:
    """Sightings that belong together.

    Attributes:
        links: in order, one total, numbers rising.
        weight: how much speaks for them.
    """

    links: tuple[Sighting, ...]
    weight: float


def chains(seen: Sequence[Sighting], pitch: int) -> dict[int, Chain]:
    """The best chain for each total that was announced, for the totals announced most often."""
    by_total: dict[int, list[Sighting]] = defaultdict(list)
    for sighting in seen:
        by_total[sighting.total].append(sighting)
    most = sorted(by_total, key=lambda total: -len(by_total[total]))[:_MOST_TOTALS]
    return {total: _best_chain(by_total[total], pitch) for total in most}


def _best_chain(seen: Sequence[Sighting], pitch: int) -> Chain:
    place = np.array([sighting.place for sighting in seen])
    number = np.array([sighting.number for sighting in seen])
    own = np.array([_HEADER_WEIGHT + _BODY_WEIGHT * sighting.sound for sighting in seen])
    steps = np.diff(number)
    if (steps > 0).all() and (np.diff(place) == steps * pitch).all():
        return Chain(tuple(seen), float(own.sum()))
    weight = own.copy()
    before = np.full(len(seen), -1)
    for later in range(1, len(seen)):
        earlier = slice(max(0, later - _LOOK_BACK), later)
        step = number[later] - number[earlier]
        off = np.abs(place[later] - place[earlier] - step * pitch)
        cost = np.where(off == 0, 0.0, np.where(off <= FEW_SLIPS, _SLIP_COST, _JUMP_COST))
        gain = np.where(step > 0, weight[earlier] - cost, 0.0)
        best = int(np.argmax(gain))
        if gain[best] > 0:
            weight[later] += gain[best]
            before[later] = earlier.start + best
    at = int(np.argmax(weight))
    total = float(weight[at])
    links = []
    while at >= 0:
        links.append(seen[at])
        at = int(before[at])
    return Chain(tuple(reversed(links)), total)


def placed(links: Sequence[Sighting], values: NDArray[np.float32], blocks: BlockFormat) -> dict[int, Sighting]:
    """Every block whose place is known, by number: the links, and blocks between or beside them whose header failed.

    A block between two others lies where both say it does. Where they differ, or where only one neighbour is known, it
    is looked for within their span and ``FEW_SLIPS``/8 bits around it: its sync word and header are known by now.
    """
    if not links:
        return {}
    known = {link.number: link for link in links}
    total = links[0].total
    numbers = sorted(known)
    for number in range(numbers[0] - 1, -1, -1):
        after = known.get(number + 1)
        if after is None:
            break
        _look_for(number, None, after, known, values, blocks, total)
    for earlier, later in zip(numbers, [*numbers[1:], blocks.blocks(total)], strict=True):
        before = known[earlier]
        beyond = known.get(later)
        for number in range(earlier + 1, later):
            _look_for(number, before, beyond, known, values, blocks, total)
            before = known.get(number, before)
    return known


def _look_for(
    number: int,
    before: Sighting | None,
    after: Sighting | None,
    known: dict[int, Sighting],
    values: NDArray[np.float32],
    blocks: BlockFormat,
    total: int,
) -> None:
    expected = [
        neighbour.place + (number - neighbour.number) * blocks.pitch for neighbour in (before, after) if neighbour
    ]
    neighbour = before or after
    if neighbour is None:
        return
    pitches = {place for place in expected}
    if len(expected) == 2 and len(pitches) == 1:
        place = expected[0]
        known[number] = replace(neighbour, place=place, number=number, sound=False)
        return
    margin = FEW_SLIPS // 8
    if max(expected) - min(expected) > 8 * blocks.pitch:
        return
    place_or_none = _best_match(
        values * neighbour.polarity,
        np.concatenate([blocks.sync, blocks.header(number, total)]),
        min(expected) - margin,
        max(expected) + margin,
    )
    if place_or_none is not None:
        known[number] = replace(neighbour, place=place_or_none, number=number, sound=False)


def _best_match(values: NDArray[np.float32], pattern: NDArray[np.uint8], first: int, last: int) -> int | None:
    """Where between ``first`` and ``last`` the pattern fits best, if at most a quarter of it is wrong."""
    first, stop = max(first, 0), max(last, 0) + pattern.size
    heard = np.sign(values[first:stop])
    if last < first or heard.size < pattern.size:
        return None
    agreement = np.correlate(heard, 2.0 * pattern.astype(np.float32) - 1.0, "valid")
    best = int(np.argmax(agreement))
    return first + best if agreement[best] >= pattern.size / 2 else None
