"""The suite: every goal, in the order of the table."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from .chain import core_chain, noise, warp, whole_trial
from .cold import FIRST_BUILD, MOST_BUILD_S, cold_starts, first_build
from .cores import growth_with_tape, growth_with_trials, second_core
from .line import MOST_OFF, STRAIGHT
from .line_codes import line_codes
from .memory import GROWTH, MOST_GIB, SIDE, growth_of_memory, whole_side
from .reed_solomon import reed_solomon
from .row import Row

Part = Callable[[], Row | list[Row]]


@dataclass(frozen=True, slots=True)
class Size:
    """How much work is timed.

    Attributes:
        tape_s: length of the tapes; rounds: pairs of each.
        words: Reed-Solomon words; trials, payload_bytes: where growth is looked at, at the most.
        memory_s: longest tape of the fit of memory.
        starts: rounds of cold starts.
        long: whether the parts that take minutes run as well.
    """

    tape_s: float
    rounds: int
    words: int
    trials: int
    payload_bytes: int
    memory_s: float
    starts: int
    long: bool


FULL = Size(60.0, 9, 2000, 64, 16_384, 1200.0, 11, True)
QUICK = Size(40.0, 3, 1000, 16, 4096, 0.0, 3, False)
TINY = Size(2.0, 1, 40, 8, 2048, 0.0, 1, False)
"""For tests: that everything runs, not how fast."""


def parts(size: Size) -> dict[str, Part]:
    """What there is to measure, by name."""
    return {
        "chain": lambda: core_chain(size.tape_s, size.rounds),
        "trial": lambda: whole_trial(size.tape_s, size.rounds),
        "warp": lambda: warp(size.tape_s, size.rounds),
        "noise": lambda: noise(size.tape_s, size.rounds),
        "words": lambda: reed_solomon(size.words, size.rounds),
        "line_codes": lambda: line_codes(size.tape_s, size.rounds),
        "cores": lambda: second_core(size.trials, size.rounds),
        "cold": lambda: cold_starts(size.starts),
        "build": lambda: first_build() if size.long else _left_out(FIRST_BUILD, "compiled before", MOST_BUILD_S),
        "growth": lambda: [growth_with_tape(size.payload_bytes), growth_with_trials(size.trials)],
        "memory": lambda: growth_of_memory(size.memory_s) if size.long else _left_out(GROWTH, STRAIGHT, MOST_OFF),
        "side": lambda: whole_side() if size.long else _left_out(SIDE, f"{MOST_GIB:g} GiB", MOST_GIB),
    }


def rows(size: Size, asked: tuple[str, ...] = ()) -> Iterator[Row]:
    """Every row, or those of the parts asked for, as they are measured."""
    for name, part in parts(size).items():
        if not asked or name in asked:
            found = part()
            yield from found if isinstance(found, list) else [found]


def _left_out(work: str, rival: str, goal: float) -> Row:
    return Row(work, rival, 1, goal, at_least=False, note="not measured, because a quick run leaves it out")
