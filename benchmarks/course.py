"""Course: where all candidates of a choice play, and on which tapes."""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import islice

from ..contracts.errors import UsageError
from ..contracts.streams import stream
from .candidates import Candidate
from .final import Final
from .study import MOST_SEED, Study
from .tally import Tally
from .trials import News, Played, Tape, Threads, run, unwatched

BLOCK = 64
"""Tapes of a final between looks at whether it is lost."""


@dataclass(frozen=True)
class Course:
    """Where and how all candidates of a choice race.

    Attributes:
        program, program_name: the payload.
        channel, receiver: specs.
        seed: of the choice.
        workers: threads; None for one a core.

    Raises:
        UsageError: seed or workers out of range.
    """

    program: bytes
    program_name: str
    channel: str
    receiver: str
    seed: int
    workers: int | None = None

    def __post_init__(self) -> None:
        if not 0 <= self.seed <= MOST_SEED:
            raise UsageError(f"Argument 'seed' must be 0 to {MOST_SEED}, not {self.seed}.")
        Threads(self.workers)

    def play(
        self,
        candidates: Sequence[Candidate],
        tapes: int,
        purpose: str,
        number: int = 0,
        watch: Callable[[News], None] = unwatched,
    ) -> tuple[Tally, ...]:
        """The tally of each candidate over as many tapes, the same for all of them.

        Args:
            purpose, number: tapes for another purpose, or of another number, are other tapes.

        Raises:
            TapewrightError: a plug-in raised.
        """
        study = self.study(candidates, tapes, purpose, number)
        found = {result.task.codec.spec: result.tally for result in run(study, self.workers, watch)}
        return tuple(found[candidate.codec.spec] for candidate in candidates)

    def final(
        self, candidate: Candidate, asked: Final, number: int, watch: Callable[[News], None] = unwatched
    ) -> Tally:
        """All tapes of a final; or, where more failed than may, those up to the end of that block.

        What ends early has failed, so no figure that is shown depends on when to stop.

        Raises:
            TapewrightError: a plug-in raised.
        """
        study = self.study((candidate,), asked.tapes, "final", number)
        blocks = _Blocks(self.workers, asked.failures)
        (result,) = run(study, watch=watch, engine=blocks)
        return result.tally

    def over(self, channel: str, receiver: str) -> Course:
        """The same tapes over another channel, for another receiver."""
        return replace(self, channel=channel, receiver=receiver)

    def study(self, candidates: Sequence[Candidate], tapes: int, purpose: str, number: int = 0) -> Study:
        """What ``play`` runs, for whoever wants to repeat it."""
        return Study(
            program=self.program,
            program_name=self.program_name,
            codecs=tuple(candidate.short for candidate in candidates),
            receivers=(self.receiver,),
            channels=(self.channel,),
            trials=tapes,
            seed=self.seed_of(purpose, number),
        )

    def seed_of(self, purpose: str, number: int = 0) -> int:
        """The seed of the tapes for one purpose, below 2^48 so that it can be typed."""
        return int(stream(self.seed, number, f"choice {purpose}").integers(2**48))


@dataclass(frozen=True)
class _Blocks:
    """Threads that play block after block, until more tapes have failed than may."""

    given: int | None
    failures: int

    @property
    def workers(self) -> int:
        return Threads(self.given).workers

    def play(self, study: Study, to_play: Iterable[Tape]) -> Generator[Played, None, None]:
        waiting, failed = iter(to_play), 0
        while failed <= self.failures and (block := tuple(islice(waiting, BLOCK))):
            for played in Threads(self.given).play(study, block):
                failed += sum(tally.trials - tally.right for tally in played.tallies)
                yield played
