"""Racing: who is worth a final. A few tapes first, and hopeless candidates stop early. It selects; it proves nothing.

The candidates of a family stand in their order, the quickest load first, and the first that survives is its best. A
candidate is out when what it did so far leaves it little chance to pass the final, and survives when it has played
enough and more likely passes than not: the chance is predicted from its failures so far (beta-binomial, with Jeffreys'
prior). All candidates meet the same tapes in the same rounds, and none of those is played again in a final.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Container, Iterable, Sequence
from dataclasses import dataclass, field

from ..contracts.errors import TapewrightError
from ..contracts.streams import stream
from .candidates import Candidate, ranked
from .final import Final
from .refusals import Refusal
from .study import Study
from .tally import Tally
from .trials import News, run, unwatched

ROUNDS = (2, 4, 8, 16, 32, 64, 128, 256, 512)
"""Tapes that a candidate has played after each round."""

ENOUGH = 128
"""Tapes after which a candidate may survive; a final of fewer tapes asks for as many as it has."""

HOPELESS, LIKELY = 0.05, 0.5
"""Chance of passing the final below which a candidate is out, and above which it survives."""

WAVE = 12
"""Candidates of a family that race at once."""

LONG_ROUND = 16
"""Tapes after which only the candidate in front goes on."""


@dataclass(frozen=True)
class Course:
    """Where and how all candidates of a choice race.

    Attributes:
        program, program_name: the payload.
        channel, receiver: specs.
        seed: of the choice.
        workers: threads; None for one a core.
    """

    program: bytes
    program_name: str
    channel: str
    receiver: str
    seed: int
    workers: int | None = None

    def play(
        self,
        candidates: Sequence[Candidate],
        tapes: int,
        purpose: str,
        number: int = 0,
        watch: Callable[[News], None] = unwatched,
        channel: str | None = None,
    ) -> tuple[Tally, ...]:
        """The tally of each candidate over as many tapes, the same for all of them.

        Args:
            purpose, number: tapes for another purpose, or of another number, are other tapes.
            channel: another than the course's.

        Raises:
            TapewrightError: a plug-in raised.
        """
        study = self.study(candidates, tapes, purpose, number, channel)
        found = {result.task.codec.spec: result.tally for result in run(study, self.workers, watch)}
        return tuple(found[candidate.codec.spec] for candidate in candidates)

    def study(
        self, candidates: Sequence[Candidate], tapes: int, purpose: str, number: int = 0, channel: str | None = None
    ) -> Study:
        """What ``play`` runs, for whoever wants to repeat it."""
        return Study(
            program=self.program,
            program_name=self.program_name,
            codecs=tuple(candidate.codec.spec for candidate in candidates),
            receivers=(self.receiver,),
            channels=(self.channel if channel is None else channel,),
            trials=tapes,
            seed=self.seed_of(purpose, number),
        )

    def seed_of(self, purpose: str, number: int = 0) -> int:
        """The seed of the tapes for one purpose, below 2^48 so that it can be typed."""
        return int(stream(self.seed, number, f"choice {purpose}").integers(2**48))


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

    def leave_out(self, shapes: Container[tuple[str, ...]]) -> None:
        """Forget the candidates of those shapes."""
        self.waiting = [one for one in self.waiting if one.shape not in shapes]
        self.racing = {one: tally for one, tally in self.racing.items() if one.shape not in shapes}

    def fill(self) -> None:
        """Let those in who would stand in front, and more where too few are racing."""
        best = min((one.rank for one in self.racing), default=None)
        if self.waiting and (best is None or self.waiting[0].rank < best):
            entering, self.waiting = self.waiting[:WAVE], self.waiting[WAVE:]
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


def _log_beta(a: float, b: float) -> float:
    return math.lgamma(a) + math.lgamma(b) - math.lgamma(a + b)


def next_survivor(
    family: Family,
    course: Course,
    final: Final,
    ceiling: Candidate | None = None,
    told: Callable[[Family], None] = lambda family: None,
) -> Candidate | None:
    """The first candidate of ``family``, in its order, that survives; None if none is left.

    Args:
        ceiling: whoever ranks behind this one does not race.
        told: called after every round.
    """
    enough = min(ENOUGH, final.tapes)
    while True:
        family.fill()
        best, reached = next(iter(family.racing.items()), (None, Tally()))
        if best is None or (ceiling is not None and best.rank > ceiling.rank):
            return None
        if reached.trials >= enough and passes(reached, final) >= LIKELY:
            return best
        if reached.trials >= ROUNDS[-1]:
            family.drop(best, _lost(reached))
            continue
        due, before = _due(family)
        after = next(tapes for tapes in ROUNDS if tapes > before)
        for candidate, tally in zip(due, _played(due, after - before, before, course, family), strict=True):
            if tally is not None:
                family.racing[candidate] += tally
                family.tallies[candidate] = family.racing[candidate]
                if passes(family.racing[candidate], final) < HOPELESS:
                    family.drop(candidate, _lost(family.racing[candidate]))
        told(family)


def _due(family: Family) -> tuple[list[Candidate], int]:
    """Who plays next, and how many tapes each of them has played: in short rounds all, in long ones who is in front."""
    before = min(tally.trials for tally in family.racing.values())
    front = list(family.racing)
    if before >= LONG_ROUND:
        front = front[:1]
        before = family.racing[front[0]].trials
    return [candidate for candidate in front if family.racing[candidate].trials == before], before


def _lost(tally: Tally) -> Refusal:
    failed = tally.trials - tally.right
    return Refusal("success_at_least", f"failed {failed} of {tally.trials} tapes", failed / tally.trials)


def _played(
    due: Sequence[Candidate], tapes: int, before: int, course: Course, family: Family
) -> tuple[Tally | None, ...]:
    """The tallies of ``due``; None for one that cannot be played, which is out."""
    if not due:
        return ()
    try:
        return course.play(due, tapes, "race", before)
    except TapewrightError as error:
        if len(due) == 1:
            family.drop(due[0], Refusal("receiver", str(error), 0))
            return (None,)
    return tuple(tally for one in due for tally in _played((one,), tapes, before, course, family))
