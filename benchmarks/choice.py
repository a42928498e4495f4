"""Choice: what to put on the tape, within limits. Searched coarse to fine, raced, and shown from fresh tapes.

A family is a line code under every scheme of layers. In each the quickest load that survives its race stands in front;
the three best fronts of different families are refined, and then play their finals, each on tapes of its own.
A lost final takes along what is about as quick, and makes the races ask for more tapes. Only after the sturdiest
formats within the limits have lost theirs too is it said that nothing meets them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import partial

from ..contracts import registry
from ..contracts.errors import UsageError
from .assumptions import FIGURE_TAPES, Assumption, Contest
from .candidates import Candidate, beside, coarse, families, keeps_pace
from .course import Course
from .deck import deck_name
from .figures import figures
from .final import MOST_TAPES, final
from .limits import Limits
from .misses import nearest_miss
from .outlook import ALONE, FIGURES, FINAL, RACE, Outlook
from .racing import ENOUGH, Family, lost, next_survivor
from .reasons import rejected
from .refusals import refusals
from .study import DEFAULT_SEED
from .sturdy import sturdiest
from .trials import News
from .verdict import Choice, Finalist, Miss, Stage

SHOWN = 3
"""The winner and two runners-up."""

MOST_FINALS = 7
"""After so many finals the answer is what has passed by then."""

LOST_FINALS = 4
"""After so many lost in a row the sturdy end comes up."""

REFINEMENTS = 1
"""How often the front of a family is refined."""

MOST_NEIGHBOURS = 12
"""Candidates that a refinement may enter, the nearest to the front."""

NEAR_MISSES = 2
"""Quicker candidates that a refinement starts from as well: those that were longest in the race."""


def unheeded(stage: Stage) -> None:
    """The watcher that looks away."""


def choose(
    program: bytes,
    program_name: str,
    limits: Limits,
    *,
    budget: int = MOST_TAPES,
    seed: int = DEFAULT_SEED,
    workers: int | None = None,
    watch: Callable[[Stage], None] = unheeded,
) -> Choice:
    """The format to put on the tape.

    Args:
        program: the payload.
        limits: what it must keep within.
        budget: tapes that the final of one format may play.
        seed: same seed, same answer.

    Raises:
        UsageError: a budget that cannot show the success asked for, or as ``deck``.
    """
    if not program:
        raise UsageError("Argument 'program' must hold at least 1 byte.")
    course = Course(program, program_name, deck_name(limits), limits.receiver, seed, workers)
    return _Choosing(limits, course, budget, watch).choice()


class _Choosing:
    def __init__(self, limits: Limits, course: Course, budget: int, watch: Callable[[Stage], None]) -> None:
        self.limits = limits
        self.course = course
        self.budget = budget
        self.watch = watch
        self.final = final(limits, budget)
        self.receiver = registry.receiver(limits.receiver)
        self.installed = families()
        self.considered: set[str] = set()
        self.shown: list[Finalist] = []
        self.failed: list[Finalist] = []
        self.families = {family.name: family for family in self._entered()}
        self.refined: set[str] = set()
        self.outlook = Outlook(FIGURE_TAPES * len(figures(self.course)), self.final.tapes)
        self.watch(Stage(self._cost()))

    def _entered(self) -> Iterator[Family]:
        for name, code in self.installed.codes.items():
            self.watch(Stage(f"{name}: working out what it could do"))
            family = Family(name, [])
            self._enter(family, coarse(code, self.receiver, len(self.course.program)))
            yield family

    def _enter(self, family: Family, found: tuple[Candidate, ...]) -> None:
        """Those that no arithmetic refuses."""
        fit = []
        self.considered |= {candidate.codec.spec for candidate in found}
        for candidate in found:
            against = refusals(candidate, self.limits, self.receiver, self.final, len(self.course.program))
            if against:
                family.out[candidate] = against[0]
            else:
                fit.append(candidate)
        family.enter(fit)

    def choice(self) -> Choice:
        while len(self.shown) < SHOWN and len(self.shown) + len(self.failed) < MOST_FINALS:
            if not self.shown and len(self.failed) >= LOST_FINALS:
                break
            fronts = self._fronts(SHOWN - len(self.shown)) or self._fronts_of_other_shapes()
            if not fronts:
                break
            rough = [(family, candidate) for family, candidate in fronts if family.name not in self.refined]
            for family, candidate in rough:
                self._refine(family, candidate)
            if not rough:
                self._play_final(*fronts[0])
        if not self.shown:
            self._try_the_sturdy_end()
        return Choice(
            limits=self.limits,
            course=self.course,
            shown=self._in_order(),
            failed=tuple(self.failed),
            rejected=tuple(rejected(self.families, self.installed, tuple(self.shown))),
            assumptions=self._assumptions(),
            miss=None if self.shown else self._nearest_miss(),
            tapes=self.outlook.played,
            tried=(
                len(self.considered),
                sum(len(one.tallies) for one in self.families.values()),
            ),
        )

    def _in_order(self) -> tuple[Finalist, ...]:
        """The winner, and the runners-up as they rank."""
        return (*self.shown[:1], *sorted(self.shown[1:], key=lambda one: one.candidate.rank))

    def _told(self, what: str, phase: str = ALONE) -> Callable[[News], None]:
        """A watcher of one run of tapes, which belongs to ``phase``."""
        to_come = self._to_come(phase)

        def told(news: News) -> None:
            self.outlook.saw(news, to_come)
            self.watch(Stage(what, news, self.outlook.remaining_s))

        return told

    def _to_come(self, phase: str) -> int:
        return self.outlook.to_come(phase, self.families.values(), SHOWN - len(self.shown))

    def _cost(self) -> str:
        """What is about to be done, before it begins."""
        fit = sum(len(family.waiting) for family in self.families.values())
        families = sum(bool(family.waiting) for family in self.families.values())
        told = f"{fit:,} formats of {families} families within the limits by arithmetic"
        return f"{told}, some {self._to_come(RACE):,} tapes to play" if fit else told

    def _fronts(self, wanted: int) -> list[tuple[Family, Candidate]]:
        """The fronts of the families that are not shown yet, as far as they can be among the ``wanted`` best."""
        shown = {finalist.candidate.family for finalist in self.shown}
        heads = [(one.quickest.rank, one) for name, one in self.families.items() if name not in shown and one.quickest]
        fronts: list[tuple[Family, Candidate]] = []
        for _, family in sorted(heads, key=lambda head: head[0]):
            ceiling = fronts[wanted - 1][1] if len(fronts) >= wanted else None
            found = next_survivor(family, self.course, self.final, ceiling, self._race_told, self._evidence)
            if found is not None:
                fronts = sorted([*fronts, (family, found)], key=lambda front: front[1].rank)
        return fronts[:wanted]

    def _fronts_of_other_shapes(self) -> list[tuple[Family, Candidate]]:
        """Where too few families are left: the fronts of those shown, under layers that are not shown."""
        shapes = {finalist.candidate.shape for finalist in self.shown}
        fronts = []
        for name in {finalist.candidate.family for finalist in self.shown}:
            family = self.families[name]
            family.leave_out(shapes)
            found = next_survivor(family, self.course, self.final, None, self._race_told, self._evidence)
            if found is not None:
                fronts.append((family, found))
        return sorted(fronts, key=lambda front: front[1].rank)

    @property
    def _evidence(self) -> int:
        """Tapes that a race asks for: a lost final says that the race believed too soon."""
        return ENOUGH << min(len(self.failed), 1)

    def _try_the_sturdy_end(self) -> None:
        """Before it is said that nothing meets the limits: the finals of the sturdiest formats within them."""
        lost = {finalist.candidate for finalist in self.failed}
        for family, candidate in sturdiest(self.families.values(), lost, self.course, self.final, self._told):
            self._play_final(family, candidate)
            if self.shown:
                return

    def _race_told(self, family: Family, news: News) -> None:
        raced, left = len(family.tallies), len(family.racing)
        self._told(f"race, {family.name}: {raced} formats so far, {left} in it, this round", RACE)(news)

    def _refine(self, family: Family, front: Candidate) -> None:
        """Enter what lies around the front, and around what was nearly as good and quicker."""
        self.refined.add(family.name)
        for _ in range(REFINEMENTS):
            near = sorted(
                (one for one in family.out if one in family.tallies and one.rank[0] < front.rank[0]),
                key=lambda one: -family.tallies[one].trials,
            )
            around: dict[Candidate, None] = {}
            for origin in (front, *near[:NEAR_MISSES]):
                around |= dict.fromkeys(beside(origin, self.receiver, len(self.course.program)))
            quicker = [one for one in around if one.rank[0] < front.rank[0] and one not in family.out]
            nearest = sorted(quicker, key=lambda one: one.rank)[-MOST_NEIGHBOURS:]
            self._enter(family, tuple(one for one in nearest if self._keeps_pace(one)))
            found = next_survivor(family, self.course, self.final, None, self._race_told, self._evidence)
            if found is None or found == front:
                return
            front = found

    def _keeps_pace(self, candidate: Candidate) -> bool:
        return keeps_pace(candidate, self.receiver)

    def _play_final(self, family: Family, candidate: Candidate) -> None:
        number = len(self.shown) + len(self.failed) + 1
        attempt = 1 if self.shown else len(self.failed) + 1
        asked = final(self.limits, self.budget, attempt)
        self.watch(Stage(f"{family.name}: final of {asked.tapes} fresh tapes"))
        tally = self.course.final(candidate, asked, number, self._told(f"{family.name}: final", FINAL))
        passed = asked.passed(tally, self.limits, candidate.codec.lies_at_most)
        finalist = Finalist(candidate, asked, tally, passed, number)
        if passed:
            self.shown.append(finalist)
            return
        self.failed.append(finalist)
        why = lost(tally)
        family.retreat(candidate, replace(why, words=f"{why.words}, {asked.failures} allowed, in its final"))

    def _assumptions(self) -> tuple[Assumption, ...]:
        if not self.shown:
            return ()
        winner, *others = (finalist.candidate for finalist in self._in_order())
        lost = [
            (tally.trials, candidate)
            for family in self.families.values()
            for candidate, tally in family.tallies.items()
            if candidate in family.out and candidate.rank[0] < winner.rank[0]
        ]
        lost.sort(key=lambda entry: (-entry[0], entry[1].rank))
        quicker = [candidate for _, candidate in lost[:NEAR_MISSES]]
        told = partial(self._told, phase=FIGURES)
        contest = Contest(winner, others, quicker, self.course, self.limits, self.final, told)
        return contest.assumptions(partial(self.outlook.turned, FIGURE_TAPES))

    def _nearest_miss(self) -> Miss | None:
        return nearest_miss(self.families, self.failed, self.course, self.limits, self.final, self._told)
