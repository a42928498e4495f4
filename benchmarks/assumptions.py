"""Assumptions: which figure of deck, tape or relays the answer hangs on. Found by turning each and playing again.

Each figure is made worse by the factors of a ladder, and the recommended format plays the same tapes so changed. It
falls where the tapes show with 95 % confidence that it misses the limit on success; the ladder is halved, as what
falls at one rung falls at the harsher ones. At the rung where it falls the runners-up play too. What quicker formats
lost by may also not be so: each figure is halved for the quicker ones that were longest in the race.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from .candidates import Candidate
from .course import Course
from .figures import Figure, figures
from .final import Final
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

FIGURE_TAPES = 3 * TAPES
"""About what one figure takes."""

Watch = Callable[[str], Callable[[News], None]]


@dataclass(frozen=True)
class Assumption:
    """What one figure decides.

    Attributes:
        figure: as it stands.
        holds_to: the worst value tried at which the recommended format was not seen to miss; None if it fell at once.
        falls_at: the value at which it was; None if it held at every rung.
        factor: how many times as bad that is.
        tally: what it did there, or at the worst rung.
        then: the format that would be recommended there; None where no runner-up holds either, or nothing falls.
        kinder: the value at which a quicker format would be recommended; None where none would.
        quicker: that format.
    """

    figure: Figure
    holds_to: float | None
    falls_at: float | None
    factor: float | None
    tally: Tally
    then: Candidate | None
    kinder: float | None = None
    quicker: Candidate | None = None


@dataclass(frozen=True)
class Contest:
    """Who plays where a figure is turned, and on what.

    Attributes:
        winner, runners_up: the recommended format, and the others that are shown, the best first.
        quicker: formats that lost, and would be better.
        course, limits, final: of the choice.
        told: makes the watcher of one run of tapes from words for it.
    """

    winner: Candidate
    runners_up: Sequence[Candidate]
    quicker: Sequence[Candidate]
    course: Course
    limits: Limits
    final: Final
    told: Watch

    def assumptions(self, turned: Callable[[], None] = lambda: None) -> tuple[Assumption, ...]:
        """Every figure that is turned up, the one on which the answer hangs most first.

        Args:
            turned: called after each.
        """
        found = []
        for figure in figures(self.course):
            found.append(self._turned(figure))
            turned()
        return tuple(sorted(found, key=lambda one: (one.factor or LADDER[-1] * 2, one.quicker is None)))

    def _turned(self, figure: Figure) -> Assumption:
        low, high = -1, len(LADDER)
        rungs: dict[int, tuple[Tally, float]] = {}
        rung = len(LADDER) - 1  # most figures never matter: the harshest rung first
        while high - low > 1:
            (tally,), value = self._played((self.winner,), figure, LADDER[rung])
            rungs[rung] = tally, value
            low, high = (low, rung) if self._falls(tally) else (rung, high)
            rung = (low + high) // 2
        fell, then = high < len(LADDER), None
        if fell and self.runners_up:
            tallies, _ = self._played(self.runners_up, figure, LADDER[high])
            holding = (one for one, tally in zip(self.runners_up, tallies, strict=True) if not self._falls(tally))
            then = next(holding, None)
        better, kinder = None, 0.0
        if self.quicker:
            tallies, kinder = self._played(self.quicker, figure, KINDER)
            passing = (one for one, tally in zip(self.quicker, tallies, strict=True) if self._may_do(tally))
            better = next(passing, None)
        return Assumption(
            figure=figure,
            holds_to=rungs[low][1] if low >= 0 else None,
            falls_at=rungs[high][1] if fell else None,
            factor=LADDER[high] if fell else None,
            tally=rungs[high if fell else low][0],
            then=then,
            kinder=kinder if better is not None else None,
            quicker=better,
        )

    def _played(
        self, candidates: Sequence[Candidate], figure: Figure, factor: float
    ) -> tuple[tuple[Tally, ...], float]:
        channel, receiver, value = figure.turned(self.course, factor)
        watch = self.told(f"{figure.name} {value:.3g} {figure.unit}".strip())
        return self.course.over(channel, receiver).play(candidates, TAPES, "assumption", 0, watch), value

    def _falls(self, tally: Tally) -> bool:
        return at_most(tally.right, tally.trials) < self.limits.success_at_least

    def _may_do(self, tally: Tally) -> bool:
        return passes(tally, self.final) > LIKELY
