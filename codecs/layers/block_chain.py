"""Which of the sync words seen are the frame's own.

True blocks follow each other at a fixed distance; a sync word in the data, or one that noise has made, does not. The
chain is the series of sightings with rising numbers that has the greatest weight, where every step off the fixed
distance costs something.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from .sync_search import Sighting

_FEW_SLIPS = 64  # bits: a step that is off by more is a jump
_MENDED_WEIGHT, _HEADER_WEIGHT, _BODY_WEIGHT = 0.25, 1.0, 2.0
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


def _weight(sighting: Sighting) -> float:
    return (_MENDED_WEIGHT if sighting.mended else _HEADER_WEIGHT) + _BODY_WEIGHT * sighting.sound


def _best_chain(seen: Sequence[Sighting], pitch: int) -> Chain:
    place = np.array([sighting.place for sighting in seen])
    number = np.array([sighting.number for sighting in seen])
    own = np.array([_weight(sighting) for sighting in seen])
    steps = np.diff(number)
    if (steps > 0).all() and (np.diff(place) == steps * pitch).all():
        return Chain(tuple(seen), float(own.sum()))
    weight = own.copy()
    before = np.full(len(seen), -1)
    for later in range(1, len(seen)):
        earlier = slice(max(0, later - _LOOK_BACK), later)
        step = number[later] - number[earlier]
        off = np.abs(place[later] - place[earlier] - step * pitch)
        cost = np.where(off == 0, 0.0, np.where(off <= _FEW_SLIPS, _SLIP_COST, _JUMP_COST))
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
