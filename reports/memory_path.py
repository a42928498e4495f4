"""The likeliest course of readings through memory, by dynamic programming.

Costs are negative logarithms of chances (nats). The chances are modelling priors: orders of magnitude for a relay
machine at the end of a worn tape, good enough to rank stories, since a single bit that a wrong story has to explain
away costs as much as a whole event.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from .memory_readings import Bytes, Reading, predicted

WRONG_BIT = math.log(1e3)
"""A bit heard wrong."""

LOST_BIT = math.log(1e4)
"""A clock lost or doubled: the clock's burst is no weaker than the data's, but it happens between two bytes too."""

ANOTHER_BIT = math.log(10)
"""Each further one in the same place: a dropout swallows several."""

LOST_BYTE = math.log(1e4)
"""A byte skipped or written twice: a count pulse lost or doubled."""

ANOTHER_BYTE = 1.0

ELSEWHERE = LOST_BYTE + math.log(65_536)
"""A jump to any place of memory."""

TURNED = math.log(1e7)
"""Polarity or order of bits changed on the way; at the start a wiring fault, which is likelier."""

WIRED_SO = math.log(1e3)

DEAD = math.log(1e4)
"""A track that goes silent or stays on, or comes back."""

LOST_SIGHT = math.log(1e4)
"""To or from a stretch that has nothing to do with the program."""

LOCAL_SLIP = LOST_BIT + math.log(8) + math.log(2)
"""A clock lost or doubled within a byte and made good before the next: any of 8 places, the last bit either way."""

CHANCE_BIT = math.log(2)
"""A bit of which nothing is known."""

PILED_UP = math.log(1e4)
"""The latches were not cleared before this byte, and it holds the ones of the byte before it too."""

STUCK = math.log(1e4)
"""A latch or a data line that stays in or out."""

_ORIGINS = 6
_WORTH_A_LEAP = 4


@dataclass(frozen=True, slots=True)
class Run:
    """A stretch of memory under one reading.

    Attributes:
        start, end: positions in memory, end excluded.
        reading: what holds there.
    """

    start: int
    end: int
    reading: Reading


@dataclass(frozen=True, slots=True)
class Path:
    """The course of readings.

    Attributes:
        runs: in order, without gaps.
        cost: of all changes and all bits that do not agree, nats.
    """

    runs: tuple[Run, ...]
    cost: float


def step_cost(before: Reading, after: Reading) -> float:
    """What it costs that ``after`` follows ``before``."""
    if before == after:
        return 0.0
    if "unknown" in (before.kind, after.kind):
        return LOST_SIGHT
    if "constant" in (before.kind, after.kind):
        return DEAD
    cost = TURNED if before.turn != after.turn else 0.0
    bits = abs(after.offset - before.offset)
    whole, rest = divmod(bits, 8)
    by_bytes = LOST_BYTE + (whole - 1) * ANOTHER_BYTE if whole else 0.0
    by_bits = LOST_BIT + (rest - 1) * ANOTHER_BIT if rest else 0.0
    cost += min(by_bytes + by_bits, ELSEWHERE)
    if "aside" in (before.kind, after.kind):
        steps = abs(after.steps - before.steps)
        cost += LOST_BIT + max(steps - 1, 0) * ANOTHER_BIT
    return cost


def changes_within_a_byte(before: Reading, after: Reading) -> bool:
    """Whether a byte can be read as ``before`` up to some bit and as ``after`` from there on."""
    kinds = {before.kind, after.kind}
    if before == after or before.turn != after.turn or not kinds <= {"stream", "aside"}:
        return False
    return kinds == {"stream"} or before.offset % 8 == after.offset % 8 == 0


def first_cost(reading: Reading) -> float:
    """What it costs that memory begins with ``reading``."""
    wired = WIRED_SO * sum(reading.turn)
    return wired + step_cost(Reading("stream", 0, *reading.turn), reading)


def likeliest_path(program: Bytes, seen: Bytes, readings: Sequence[Reading], heard: Bytes) -> Path:
    """The cheapest course through ``seen``, shape (n,) with n at least 1; only the bits in ``heard`` count."""
    wrong = np.empty((seen.size, len(readings)), np.uint8)
    emission = np.empty((seen.size, len(readings)), np.float32)
    for number, reading in enumerate(readings):
        wrong[:, number], emission[:, number] = agreement(reading, program, seen, heard)
    quiet = [np.flatnonzero(emission[:, number]) for number in range(len(readings))]
    change = np.array([[step_cost(before, after) for after in readings] for before in readings])
    bitwise = np.array([[changes_within_a_byte(before, after) for after in readings] for before in readings])
    cost = np.array([first_cost(reading) for reading in readings]) + emission[0]
    everyone = np.arange(len(readings))
    came = np.empty((seen.size, len(readings)), np.int16)
    origins = min(_ORIGINS, len(readings))
    place = 1
    while place < seen.size:
        best = int(cost.argmin())
        later = quiet[best][np.searchsorted(quiet[best], place) :]
        until = int(later[0]) if later.size else seen.size
        if until - place >= _WORTH_A_LEAP:
            # Nobody leaves the best reading while it agrees with everything: a later change costs no more.
            came[place:until] = everyone
            cost = cost + emission[place:until].sum(axis=0)
            place = until
            continue
        # A change is dear: it comes from one of the few readings that are good so far, or from none. The byte in
        # which it falls may be read one way at first and the other way then.
        good = np.argpartition(cost, origins - 1)[:origins]
        divided = np.where(bitwise[good], _divided(wrong[place, good], wrong[place]) * WRONG_BIT, np.inf)
        by_change = cost[good, None] + change[good] + np.minimum(divided, emission[place])
        cheapest = by_change.argmin(axis=0)
        changed = by_change[cheapest, everyone]
        stayed = cost + emission[place]
        stays = stayed <= changed
        came[place] = np.where(stays, everyone, good[cheapest])
        cost = np.where(stays, stayed, changed)
        place += 1
    at = int(np.argmin(cost))
    total = float(cost[at])
    course = np.empty(seen.size, np.int64)
    for place in range(seen.size - 1, 0, -1):
        course[place] = at
        at = int(came[place, at])
    course[0] = at
    starts = [0, *(np.flatnonzero(np.diff(course)) + 1).tolist()]
    ends = [*starts[1:], seen.size]
    runs = tuple(Run(start, end, readings[course[start]]) for start, end in zip(starts, ends, strict=True))
    return Path(runs, total)


_BITS = np.unpackbits(np.arange(256, dtype=np.uint8)[:, None], axis=1)
_BEFORE = np.concatenate((np.zeros((256, 1), np.int8), np.cumsum(_BITS, axis=1, dtype=np.int8)), axis=1)
_AFTER = _BEFORE[:, -1:] - _BEFORE


def _divided(before: Bytes, after: Bytes) -> NDArray[np.int8]:
    """Fewest wrong bits of a byte that is read as ``before`` up to some bit and as ``after`` from there on.

    Shape (readings before, readings after), from the wrong bits under each reading.
    """
    fewest: NDArray[np.int8] = (_BEFORE[before][:, None] + _AFTER[after][None]).min(axis=2)
    return fewest


@cache
def slips() -> NDArray[np.int8]:
    """Shape (256, 256), by what should be in a byte and what is: 1 where a bit lost in it explains it, -1 where a
    doubled one does, 0 where neither.

    Bits after a lost one come early and the last is whatever comes next; after a doubled one they come late.
    """
    should, is_there = np.arange(256)[:, None], np.arange(256)[None, :]
    found = np.zeros((256, 256), np.int8)
    for place in range(8):
        rest = 0xFF >> place
        before = should & ~rest & 0xFF
        early = (before | (should << 1 & rest)) ^ is_there
        late = ((should & ~(rest >> 1) & 0xFF) | (should >> 1 & rest >> 1)) ^ is_there
        found[(late == 0) & (found == 0)] = -1
        found[early & 0xFE == 0] = 1
    found.flags.writeable = False
    return found


def agreement(
    reading: Reading, program: Bytes, seen: Bytes, heard: Bytes
) -> tuple[NDArray[np.uint8], NDArray[np.float32]]:
    """Bits that do not agree, all where nothing is known, and what each byte costs, shape (n,).

    Bits that are not in ``heard`` do not count.
    """
    expected, known = predicted(reading, program, seen.size)
    wrong = (expected ^ seen) & heard
    cost = np.bitwise_count(wrong).astype(np.float32) * np.float32(WRONG_BIT)
    if reading.kind == "stream" and reading.offset % 8 == 0:
        whole = heard == 0xFF
        slipped = whole & (slips()[expected, seen] != 0)
        cost[slipped] = np.minimum(cost[slipped], np.float32(LOCAL_SLIP))
        piled = whole[1:] & (expected[1:] | expected[:-1] == seen[1:])
        cost[1:][piled] = np.minimum(cost[1:][piled], np.float32(PILED_UP))
    by_chance = np.bitwise_count(heard) * np.float32(CHANCE_BIT)
    return np.where(known, wrong, heard).astype(np.uint8), np.where(known, cost, by_chance).astype(np.float32)
