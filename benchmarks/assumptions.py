"""Assumptions: which figure of the deck or the tape the answer hangs on. Found by turning each and playing again.

Each figure is made worse by the factors of a ladder, and the recommended format plays the same tapes so changed. It
falls where the tapes show with 95 % confidence that it misses the limit on success; the ladder is halved, as what
falls at one rung falls at the harsher ones. At the rung where it falls the runners-up play too. What quicker formats
lost by may also not be so: each figure is halved for the quicker ones that were longest in the race.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from ..contracts import registry
from .candidates import Candidate
from .course import Course
from .final import Final
from .knob import NAMES, Knob, knobs
from .limits import Limits
from .racing import LIKELY, passes
from .statistics import at_most
from .tally import Tally
from .trials import News

LADDER = (1.5, 2.0, 3.0, 4.0)
"""How many times as bad a figure is made; in dB, the dB of that."""

KINDER = 0.5

TAPES = 64
"""Of each format at each rung: enough to see a success below 0.95 in nineteen of twenty cases."""

Watch = Callable[[str], Callable[[News], None]]


@dataclass(frozen=True)
class Assumption:
    """What one figure decides.

    Attributes:
        knob: the figure, as it stands.
        holds_to: the worst value tried at which the recommended format was not seen to miss; None if it fell at once.
        falls_at: the value at which it was; None if it held at every rung.
        factor: how many times as bad that is.
        tally: what it did there, or at the worst rung.
        then: the format that would be recommended there; None where no runner-up holds either, or nothing falls.
        kinder: the value at which a quicker format would be recommended; None where none would.
        quicker: that format.
    """

    knob: Knob
    holds_to: float | None
    falls_at: float | None
    factor: float | None
    tally: Tally
    then: Candidate | None
    kinder: float | None = None
    quicker: Candidate | None = None


def assumptions(
    winner: Candidate,
    runners_up: Sequence[Candidate],
    quicker: Sequence[Candidate],
    course: Course,
    limits: Limits,
    final: Final,
    told: Watch,
) -> tuple[Assumption, ...]:
    """Every figure of the channel that is turned up, the one on which the answer hangs most first.

    Args:
        runners_up: the best first.
        quicker: formats that lost, and would be better.
    """
    channel = registry.channel(course.channel)
    found = [
        _turned(knob, winner, runners_up, quicker, course, limits, final, told)
        for knob in knobs(channel)
        if channel.stages[knob.stage].name in NAMES
    ]
    return tuple(sorted(found, key=lambda one: (one.factor or LADDER[-1] * 2, one.quicker is None)))


def _turned(
    knob: Knob,
    winner: Candidate,
    runners_up: Sequence[Candidate],
    quicker: Sequence[Candidate],
    course: Course,
    limits: Limits,
    final: Final,
    told: Watch,
) -> Assumption:
    channel = registry.channel(course.channel)

    def played(candidates: Sequence[Candidate], factor: float) -> tuple[tuple[Tally, ...], float]:
        changed, value = knob.turned(channel, factor)
        watch = told(f"{knob.name} {value:.3g} {knob.unit}".strip())
        return course.play(candidates, TAPES, "assumption", 0, watch, changed.spec), value

    def falls(tally: Tally) -> bool:
        return at_most(tally.right, tally.trials) < limits.success_at_least

    low, high = -1, len(LADDER)
    rungs: dict[int, tuple[Tally, float]] = {}
    rung = len(LADDER) - 1  # most figures never matter: the harshest rung first
    while high - low > 1:
        (tally,), value = played((winner,), LADDER[rung])
        rungs[rung] = tally, value
        low, high = (low, rung) if falls(tally) else (rung, high)
        rung = (low + high) // 2
    then = None
    if high < len(LADDER) and runners_up:
        tallies, _ = played(runners_up, LADDER[high])
        then = next((one for one, tally in zip(runners_up, tallies, strict=True) if not falls(tally)), None)
    better, kinder = None, 0.0
    if quicker:
        tallies, kinder = played(quicker, KINDER)
        better = next((one for one, tally in zip(quicker, tallies, strict=True) if passes(tally, final) > LIKELY), None)
    fell = high < len(LADDER)
    return Assumption(
        knob=knob,
        holds_to=rungs[low][1] if low >= 0 else None,
        falls_at=rungs[high][1] if fell else None,
        factor=LADDER[high] if fell else None,
        tally=rungs[high if fell else low][0],
        then=then,
        kinder=kinder if better is not None else None,
        quicker=better,
    )
