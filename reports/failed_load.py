"""The anatomy of a failed load: from what memory holds, what happened on the way, and where.

Several stories are told, the likeliest first, each with how many bits agree under it and what it costs (see
``memory_path``). Addresses are those of the program; bits are numbered 1 to 8 as they come from the tape.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from .happening import Happening, Placement, count
from .memory_path import CHANCE_BIT, STUCK, Path, likeliest_path
from .memory_readings import (
    CONSTANTS,
    STRAIGHT,
    UNKNOWN,
    Bytes,
    aside_readings,
    stream_readings,
    turned,
    turned_readings,
)
from .memory_story import Course, tell
from .stuck_bits import StuckBits, stuck_bits, tell_stuck, without

MOST_STORIES = 3

UNLIKELY = math.log(1e6)
"""Stories less likely than the best by this are left out, unless they are all there is besides."""


_BETTER_THAN_CHANCE = 0.9
"""A story must cost less than this share of what memory costs if every bit is a coin's throw."""


@dataclass(frozen=True, slots=True)
class Story:
    """One explanation of what memory holds.

    Attributes:
        happenings: what happened, in the order of memory.
        agreeing_bits, known_bits: bits of memory that are as this story says, of those it says anything about.
        cost: negative logarithm of its chance, nats.
    """

    happenings: tuple[Happening, ...]
    agreeing_bits: int
    known_bits: int
    cost: float

    def to_json(self, best_cost: float) -> dict[str, Any]:
        """Plain values; the cost re that of the best story."""
        return {
            "happenings": [happening.to_json() for happening in self.happenings],
            "agreeing_bits": self.agreeing_bits,
            "known_bits": self.known_bits,
            "nats_behind": round(self.cost - best_cost, 2),
        }


@dataclass(frozen=True, slots=True)
class FailedLoad:
    """What can be said of a load.

    Attributes:
        equal: all that was read is as in the program.
        stories: the likeliest first; empty if it is equal, or has nothing to do with the program.
        notes: what a person should know, one line each.
        straight_bits, compared_bits: bits that agree place by place, of all that were compared.
    """

    equal: bool
    stories: tuple[Story, ...]
    notes: tuple[str, ...]
    straight_bits: int
    compared_bits: int

    @property
    def explained(self) -> bool:
        """Whether anything fits what memory holds."""
        return self.equal or bool(self.stories)

    def lines(self) -> tuple[str, ...]:
        """For a person."""
        if self.equal:
            return (*self.notes, "all that was read is as in the program: nothing went wrong on the way")
        share = f"{self.straight_bits} of {self.compared_bits} bits are as in the program, place by place"
        if not self.stories:
            return (*self.notes, share, "no story fits: what memory holds has nothing to do with this program")
        best, *others = self.stories
        lines = [
            *self.notes,
            share,
            f"the likeliest story, under which {best.agreeing_bits} of {best.known_bits} bits agree:",
        ]
        lines += [f"  {number}. {happening}" for number, happening in enumerate(best.happenings, 1)]
        for other in others:
            behind = other.cost - best.cost
            odds = "as likely" if behind < math.log(2) else f"{math.exp(behind):,.0f} times less likely"
            lines.append(f"{odds} ({other.agreeing_bits} of {other.known_bits} bits agree):")
            lines += [f"  {number}. {happening}" for number, happening in enumerate(other.happenings[:5], 1)]
            if len(other.happenings) > 5:
                lines.append(f"  and {len(other.happenings) - 5} more")
        return tuple(lines)

    def to_json(self) -> dict[str, Any]:
        """Plain values."""
        best = self.stories[0].cost if self.stories else 0.0
        return {
            "equal": self.equal,
            "explained": self.explained,
            "straight_bits": self.straight_bits,
            "compared_bits": self.compared_bits,
            "stories": [story.to_json(best) for story in self.stories],
            "notes": list(self.notes),
        }


def explain(
    program: bytes,
    seen: bytes,
    place: Placement | None = None,
    first_seen: int | None = None,
    unread: Sequence[tuple[int, int]] = (),
) -> FailedLoad:
    """What happened between ``program`` and ``seen``, both of at least 1 byte.

    >>> told = explain(b"the belfry's nine bells", b"the bfry's nine bells")
    >>> print(told.stories[0].happenings[0])
    2 bytes of the program are missing at 0005; what follows stands 2 bytes lower than it should

    Args:
        program: what was recorded.
        seen: what memory holds.
        place: where the program's first byte lies, and how it stands on the tape.
        first_seen: address of the first byte of ``seen``; the program's if nobody knows.
        unread: addresses (start, end excluded) at which ``seen`` holds nothing that was read.
    """
    place = Placement() if place is None else place
    notes: list[str] = []
    apart = 0 if first_seen is None else first_seen - place.origin
    if apart < 0:
        notes.append(f"{count(min(-apart, len(seen)), 'byte')} before the program left out")
        seen, apart = seen[-apart:], 0
    elif apart > 0:
        missed = min(apart, len(program))
        notes.append(f"memory was read from {place.origin + apart:04X} on: {count(missed, 'byte')} before it not known")
        place = place.moved(apart)
    should = program[apart:]
    surplus = len(seen) - len(should)
    if surplus > 0 and should:
        notes.append(f"{count(surplus, 'byte')} beyond the program left out: {_filling(seen[len(should) :])}")
    elif surplus < 0:
        notes.append(f"{count(-surplus, 'byte')} at the program's end not read")
    seen = seen[: len(should)]
    if not seen:
        return FailedLoad(False, (), (*notes, "none of the program's addresses was read"), 0, 0)
    wanted, memory = (_array(data, place.least_significant_first) for data in (should, seen))
    read = np.full(memory.size, 0xFF, np.uint8)
    for start, end in unread:
        read[max(start - place.origin, 0) : max(end - place.origin, 0)] = 0
    compared = int(np.bitwise_count(read).sum())
    straight = compared - int(np.bitwise_count((wanted[: memory.size] ^ memory) & read).sum())
    stories = _stories(wanted, memory, read, place) if straight < compared else ()
    return FailedLoad(straight == compared, stories, tuple(notes), straight, compared)


def _stories(program: Bytes, seen: Bytes, read: Bytes, place: Placement) -> tuple[Story, ...]:
    """The likeliest stories; none if the likeliest of all leaves memory to chance."""
    compared = int(np.bitwise_count(read).sum())
    # Of two that fit alike the first is taken: with steps between the bytes, bits move within their own.
    aside = [] if place.rests is False else list(aside_readings())
    stream = [*stream_readings(program, seen), *turned_readings(program, seen)]
    everything = [*aside, *stream] if place.rests else [*stream, *aside]
    everything += [*CONSTANTS, UNKNOWN]
    stuck = stuck_bits(program, seen, place.split_tracks)
    told: dict[tuple[Happening, ...], Story] = {}
    for held in ((), stuck) if stuck else ((),):
        heard = without(held, read)
        best = likeliest_path(program, seen, everything, heard)
        used = {run.reading for run in best.runs} - {STRAIGHT, UNKNOWN}
        paths = [best, likeliest_path(program, seen, [STRAIGHT], heard)]
        if used:
            paths.append(likeliest_path(program, seen, [other for other in everything if other not in used], heard))
        for path in paths:
            story = _story(path, program, seen, held, heard, place)
            if story.happenings not in told or told[story.happenings].cost > story.cost:
                told[story.happenings] = story
    ranked = sorted(told.values(), key=lambda story: story.cost)
    if ranked[0].cost > _BETTER_THAN_CHANCE * compared * CHANCE_BIT:
        return ()
    kept: list[Story] = []
    for story in ranked:
        adds_nothing = any(set(better.happenings) <= set(story.happenings) for better in kept)
        if not adds_nothing and story.cost < ranked[0].cost + UNLIKELY:
            kept.append(story)
    return tuple(kept[:MOST_STORIES])


def _story(
    path: Path, program: Bytes, seen: Bytes, held: tuple[StuckBits, ...], heard: Bytes, place: Placement
) -> Story:
    course = Course.of(path.runs, program, seen, heard)
    known = [heard[run.start : run.end] for run in path.runs if run.reading.kind != "unknown"]
    known_bits = int(sum(np.bitwise_count(bits).sum() for bits in known))
    agreeing_bits = known_bits - int(np.bitwise_count(course.wrong).sum())
    happenings = (*tell_stuck(held, seen.size, place), *tell(course, place))
    return Story(happenings, agreeing_bits, known_bits, path.cost + STUCK * len(held))


def _array(data: bytes, least_significant_first: bool) -> Bytes:
    """Bytes with their bits in the order of the tape."""
    plain = np.frombuffer(data, np.uint8)
    return turned(plain, (False, True)) if least_significant_first else plain


def _filling(data: bytes) -> str:
    return f"all {data[0]:02X}" if len(set(data)) == 1 else f"{data[:8].hex(' ')}{' ...' if len(data) > 8 else ''}"
