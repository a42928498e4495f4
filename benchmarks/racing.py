"""Racing: who is worth a final. A few tapes first, and hopeless candidates stop early. It selects; it proves nothing.

The candidates of a family stand in their order, the quickest load first, and the first that survives is its best. A
candidate is out when what it did so far leaves it little chance to pass the final, and survives when it has played
enough and more likely passes than not: the chance is predicted from its failures so far (beta-binomial, with Jeffreys'
prior). Whoever loses takes along whatever is the same format with less redundancy or less time for a bit. All
candidates meet the same tapes in the same rounds, and none of those is played again in a final.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Container, Iterable, Sequence
from dataclasses import dataclass, field

from ..contracts.errors import TapewrightError
from .candidates import Candidate, ranked
from .course import Course
from .final import Final
from .refusals import Refusal
from .schemes import ready
from .tally import Tally
from .trials import News

ROUNDS = (2, 4, 8, 16, 32, 64, 128, 256, 512)
"""Tapes that a candidate has played after each round."""

ENOUGH = 256
"""Tapes after which a candidate may survive; a final of fewer tapes asks for as many as it has."""

HOPELESS, LIKELY = 0.15, 0.5
"""Chance of passing the final below which a candidate that failed is out, and above which it survives."""

WAVE = 12
"""Candidates of a family that race at once."""

LONG_ROUND = 8
"""Tapes after which only the candidate in front goes on."""

LATE, STEP_BACK = 32, 1.05
"""Whoever loses a race only after so many tapes shows about where the limit lies: the next load is so much longer."""

RETREAT = 1.15
"""How much longer a load must take than one that failed its final, for another try of the same family."""


@dataclass
class Family:
    """The candidates of one line code, and how far each has come.

    Attributes:
        name: of the line code.
        waiting: those that have not raced, in their order.
        racing: those that have, with their tallies.
        out: those that are out, with why.
        tallies: of all that have raced, those that are out included.
    """

    name: str
    waiting: list[Candidate]
    racing: dict[Candidate, Tally] = field(default_factory=dict)
    out: dict[Candidate, Refusal] = field(default_factory=dict)
    tallies: dict[Candidate, Tally] = field(default_factory=dict)

    @property
    def quickest(self) -> Candidate | None:
        """The best rank of those that are not out."""
        return min((*self.racing, *self.waiting[:1]), key=lambda one: one.rank, default=None)

    def enter(self, more: Iterable[Candidate]) -> None:
        """Candidates that were not known before."""
        new = [one for one in more if one not in self.racing and one not in self.out]
        self.waiting = list(ranked([*self.waiting, *new]))

    def drop(self, candidate: Candidate, why: Refusal) -> None:
        """Take a candidate out."""
        self.racing.pop(candidate, None)
        self.out[candidate] = why

    def lose(self, candidate: Candidate, why: Refusal) -> None:
        """Take out a candidate that the tapes beat, and whatever is no sturdier."""
        self.drop(candidate, why)
        beaten = Refusal(why.limit, f"no sturdier than what {why.words}", 1 + why.miss)
        self._drop_all(beaten, lambda one: one.is_no_sturdier_than(candidate))

    def retreat(self, candidate: Candidate, why: Refusal) -> None:
        """After a lost final: also whatever is about as quick, which the race took for better than it is."""
        self.lose(candidate, why)
        self.step_back(candidate, why, RETREAT)

    def step_back(self, candidate: Candidate, why: Refusal, ratio: float) -> None:
        """Take out what is quicker than ``ratio`` times the load time of a candidate that lost."""
        alike = Refusal(why.limit, f"as quick as what {why.words}", 1 + why.miss)
        self._drop_all(alike, lambda one: one.tape_s < ratio * candidate.tape_s)

    def _drop_all(self, why: Refusal, beaten: Callable[[Candidate], bool]) -> None:
        for one in [*self.waiting, *self.racing]:
            if beaten(one):
                self.drop(one, why)
        self.waiting = [one for one in self.waiting if one not in self.out]

    def sturdy(self) -> tuple[Candidate, ...]:
        """The sturdy end of what no arithmetic refused: each stack of layers at the slowest pace that fits.

        Of the stacks that mend nothing only the slowest is among them, and every preset is that fits and mends.
        """
        known = [
            *self.waiting,
            *self.racing,
            *(one for one, why in self.out.items() if why.limit == "success_at_least"),
        ]
        slowest: dict[tuple[object, ...], Candidate] = {}
        for one in sorted(known, key=lambda one: (-one.tape_s, one.rank)):
            slowest.setdefault(one.codec.layers if one.mends else (), one)
        presets = {stack.spec for stack in ready(next(iter(known)).codec.line_code)} if known else set()
        found = [*slowest.values(), *(one for one in known if one.codec.spec in presets and one.mends)]
        return ranked(found)

    def leave_out(self, shapes: Container[tuple[str, ...]]) -> None:
        """Forget the candidates of those shapes."""
        self.waiting = [one for one in self.waiting if one.shape not in shapes]
        self.racing = {one: tally for one, tally in self.racing.items() if one.shape not in shapes}

    def fill(self) -> None:
        """Let some in of those who would stand in front: spread over them, as each that loses takes others along."""
        best = min((one.rank for one in self.racing), default=None)
        ahead = [one for one in self.waiting if best is None or one.rank < best]
        if ahead:
            places = {round(place * (len(ahead) - 1) / (WAVE - 1)) for place in range(WAVE)}
            entering = {ahead[place] for place in places}
            self.waiting = [one for one in self.waiting if one not in entering]
            together = {**self.racing, **dict.fromkeys(entering, Tally())}
            self.racing = dict(sorted(together.items(), key=lambda entry: entry[0].rank))


def passes(tally: Tally, final: Final) -> float:
    """The predicted chance to pass ``final`` after ``tally``.

    >>> from .final import Final
    >>> f"{passes(Tally(trials=128, right=128), Final(473, 1, 0.95)):.2f}"
    '0.64'
    """
    failed, right = tally.trials - tally.right + 0.5, tally.right + 0.5
    total = 0.0
    for failures in range(final.failures + 1):
        total += math.exp(
            math.lgamma(final.tapes + 1)
            - math.lgamma(failures + 1)
            - math.lgamma(final.tapes - failures + 1)
            + _log_beta(failed + failures, right + final.tapes - failures)
            - _log_beta(failed, right)
        )
    return total


def hopeless(tally: Tally, final: Final) -> bool:
    """Whether what failed so far leaves little chance to pass ``final``."""
    return tally.right < tally.trials and passes(tally, final) < HOPELESS


def _log_beta(a: float, b: float) -> float:
    return math.lgamma(a) + math.lgamma(b) - math.lgamma(a + b)


def next_survivor(
    family: Family,
    course: Course,
    final: Final,
    ceiling: Candidate | None = None,
    told: Callable[[Family, News], None] = lambda family, news: None,
    evidence: int = ENOUGH,
) -> Candidate | None:
    """The first candidate of ``family``, in its order, that survives; None if none is left.

    Args:
        ceiling: whoever ranks behind this one does not race.
        told: called after every tape, with the news of its round.
        evidence: tapes after which a candidate may survive.
    """
    enough = min(evidence, final.tapes)
    while True:
        family.fill()
        best, reached = next(iter(family.racing.items()), (None, Tally()))
        if best is None or (ceiling is not None and best.rank > ceiling.rank):
            return None
        if reached.trials >= enough and passes(reached, final) >= LIKELY:
            return best
        if reached.trials >= ROUNDS[-1]:
            family.lose(best, lost(reached))
            continue
        due, before = _due(family)
        after = next(tapes for tapes in ROUNDS if tapes > before)
        for candidate, tally in zip(due, _played(due, after - before, before, course, family, told), strict=True):
            if tally is not None:
                family.racing[candidate] += tally
                family.tallies[candidate] = family.racing[candidate]
        for candidate in due:
            tally = family.racing.get(candidate)
            if tally is not None and hopeless(tally, final):
                family.lose(candidate, lost(tally))
                if tally.trials >= LATE:
                    family.step_back(candidate, lost(tally), STEP_BACK)


def _due(family: Family) -> tuple[list[Candidate], int]:
    """Who plays next, and how many tapes each of them has played: in short rounds all, in long ones who is in front."""
    before = min(tally.trials for tally in family.racing.values())
    front = list(family.racing)
    if before >= LONG_ROUND:
        front = front[:1]
        before = family.racing[front[0]].trials
    return [candidate for candidate in front if family.racing[candidate].trials == before], before


def lost(tally: Tally) -> Refusal:
    """Why the tapes beat a candidate."""
    failed = tally.trials - tally.right
    return Refusal("success_at_least", f"failed {failed} of {tally.trials} tapes", failed / tally.trials)


def _played(
    due: Sequence[Candidate],
    tapes: int,
    before: int,
    course: Course,
    family: Family,
    told: Callable[[Family, News], None],
) -> tuple[Tally | None, ...]:
    """The tallies of ``due``; None for one that cannot be played, which is out."""
    if not due:
        return ()
    try:
        return course.play(due, tapes, "race", before, lambda news: told(family, news))
    except TapewrightError as error:
        if len(due) == 1:
            family.drop(due[0], Refusal("receiver", str(error), 0))
            return (None,)
    return tuple(tally for one in due for tally in _played((one,), tapes, before, course, family, told))
