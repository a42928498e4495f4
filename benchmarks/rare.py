"""Load failures that are too rare for plain trials, where it takes events (dropouts) to make one.

Two scouting runs look which numbers of arrivals, how grave and at which places, make tapes fail; they only select.
Then a fixed number of fresh tapes is spread over the strata of ``struck`` by what was seen (J. Neyman 1934), and the
failures among them, each with its weight, give the figure: the share of loads that fail on a tape with at least one
event. It is unbiased whatever the scouts saw; they only decide how sharp it is.

A failure that needs no event is not made likelier by drawing more of them. Tapes without any are played first; what
fails among them is no part of the figure and is told beside it, with an interval of its own; where that rate would make
up half of all failures, the figure is refused (near that limit the figures that remain lie a little high).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Generator
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from dataclasses import dataclass
from time import perf_counter
from typing import Any, TypeVar

from ..contracts.errors import UsageError
from ..contracts.streams import stream
from .aiming import Played, Portion, first_portions, spread, strata
from .blamed import blamed
from .shelf import Shelf
from .statistics import Estimate, at_most, clopper_pearson
from .struck import Stratum, eventful_stage, struck
from .study import Study, Task
from .tally import Tally, score
from .trials import (
    MOST_AUDIO_BYTES,
    MOST_WORKERS,
    News,
    Result,
    Tape,
    audio_bytes,
    cores,
    play,
    unwatched,
)
from .weighted import effective, just_missed, unseen, weighted_rate

DEFAULT_TAPES = 4000
FEWEST_TAPES = 400
FEWEST_SCOUTS = 200

ARRIVALS_LOOKED_AT = 1000
"""If one arrival in a hundred is a cluster, the chance that none shows is 4e-5."""

PLAIN_TAPES, MOST_FAILING = 100, 4
"""Of so many plain tapes that are played first, no more may fail: what is not rare is told better without weights."""

QUIET = 0.25
"""Share of the tapes that count that have no events: what fails among them is not the events' work."""

FIGURE_IS = "share of loads that fail on a tape with at least one event; what fails without events is told apart"

SCOUTS = 0.15
"""Tapes of each of both scouting runs, re those that count."""

_TAPE_COPIES = 4


Ended = TypeVar("Ended")


@dataclass(frozen=True)
class RareFailures:
    """The answer for one task.

    Attributes:
        refusal: why there is no figure, in one line; None if there is.
        load_failure: share of loads that fail on a tape with at least one event; None if refused. It is not the share
            of all loads that fail: ``failure_without_events`` adds to it.
        effective_failures: so many failures of equal weight would prove as much.
        failures, silent: met among the tapes drawn on purpose, and how many of these nobody noticed; they do not all
            count alike.
        silent_rate: the part of the figure's rate that nobody noticed.
        unseen_at_most: one-sided 95 % bound on failures that need an event, but no grave one, and bad luck too rare to
            have been met; neither the figure nor its interval has them.
        tapes, scouts: played for the figure and for ``failure_without_events``, and before.
        without_events: of how many tapes without events how many failed.
        chance_without_events: of a tape of a plain run to meet no event.
    """

    task: Task
    refusal: str | None
    load_failure: Estimate | None = None
    effective_failures: float = 0.0
    failures: int = 0
    silent: int = 0
    silent_rate: float = 0.0
    unseen_at_most: float = 0.0
    tapes: int = 0
    scouts: int = 0
    without_events: tuple[int, int] = (0, 0)
    chance_without_events: float = 1.0

    @property
    def factor(self) -> float | None:
        """Within which factor the figure is known (95 %); None where nothing failed."""
        figure = self.load_failure
        if figure is None or figure.low <= 0:
            return None
        return max(figure.high / figure.rate, figure.rate / figure.low)

    @property
    def failure_without_events(self) -> Estimate | None:
        """Share of loads that fail on a tape without any event; None where no such tape was played."""
        failed, tapes = self.without_events
        if not tapes:
            return None
        low, high = clopper_pearson(failed, tapes)
        none = self.chance_without_events
        method = f"{failed} of {tapes} tapes without events, Clopper-Pearson 95 % two-sided, times the chance of none"
        return Estimate(none * failed / tapes, none * low, none * high, method)

    @property
    def without_events_at_most(self) -> float | None:
        """One-sided 95 % bound on the failures among tapes without events."""
        failed, tapes = self.without_events
        return at_most(failed, tapes) if tapes else None

    def as_json(self) -> dict[str, Any]:
        """Plain data."""
        without = self.failure_without_events
        return {
            "codec": self.task.codec_name,
            "receiver": self.task.receiver_name,
            "channel": self.task.channel_name,
            "codec_spec": self.task.codec.spec,
            "receiver_spec": self.task.receiver.spec,
            "channel_spec": self.task.channel.spec,
            "refusal": self.refusal,
            "load_failure_is": FIGURE_IS,
            "load_failure": self.load_failure and self.load_failure.as_json(),
            "known_within_a_factor_of": self.factor,
            "effective_failures": self.effective_failures,
            "failures": self.failures,
            "silent": self.silent,
            "silent_rate": self.silent_rate,
            "unseen_at_most": self.unseen_at_most,
            "tapes": self.tapes,
            "scouts": self.scouts,
            "failed_without_events": self.without_events[0],
            "tapes_without_events": self.without_events[1],
            "failures_without_events_at_most": self.without_events_at_most,
            "chance_without_events": self.chance_without_events,
            "failure_without_events": without and without.as_json(),
        }


def rare_failures(
    study: Study,
    tapes: int = DEFAULT_TAPES,
    workers: int | None = None,
    watch: Callable[[News], None] = unwatched,
) -> tuple[RareFailures, ...]:
    """How often each task's loads fail with events, each from ``tapes`` tapes that count; ``study.trials`` does not.

    Raises:
        UsageError: fewer tapes than 400, or workers out of range.
    """
    if tapes < FEWEST_TAPES:
        raise UsageError(f"Rare failures take at least {FEWEST_TAPES} tapes (trials) a row, not {tapes}.")
    workers = cores() if workers is None else workers
    if not 1 <= workers <= MOST_WORKERS:
        raise UsageError(f"Argument 'workers' must be 1 to {MOST_WORKERS}, not {workers}.")
    shelf = Shelf(study.program, study.sample_rate_hz, MOST_AUDIO_BYTES // _TAPE_COPIES)
    return tuple(_Run(study, task, shelf, tapes, workers, watch).answer() for task in study.tasks())


@dataclass(frozen=True)
class _Run:
    study: Study
    task: Task
    shelf: Shelf
    tapes: int
    workers: int
    watch: Callable[[News], None]

    def answer(self) -> RareFailures:
        if self.task.refusal is not None:
            return RareFailures(self.task, self.task.refusal)
        with blamed(self.task, 0, self.study.seed, "rare arrivals"):
            place = eventful_stage(self.task.channel)
        if isinstance(place, str):
            return RareFailures(self.task, f"{place}: count failures by plain trials")
        model: Any = self.task.channel.stages[place]
        with blamed(self.task, 0, self.study.seed, "rare arrivals"):
            clustered, layers = self._clustered(model), strata(model.mean_arrivals(self._tape_s))
        if clustered:
            told = "events come in clusters, whose weights spread too far for a few thousand tapes"
            return RareFailures(self.task, f"{told}: count failures by plain trials")
        refusal = self._not_rare()
        if refusal is not None:
            return RareFailures(self.task, refusal)
        scouting = max(round(SCOUTS * self.tapes), FEWEST_SCOUTS)
        aimed = self.tapes - round(QUIET * self.tapes)
        quiet = self._played(place, [Portion(Stratum(0), self.tapes - aimed)], "rare quiet")
        portions = first_portions(layers, scouting)
        scouts: list[Played] = []
        for tapes, purpose in ((scouting, "rare scouts"), (aimed, "rare scouts again")):
            scouts += self._played(place, portions, purpose)
            refusal = _refusal(quiet, scouts)
            if refusal is not None:
                counts = sum(one.failed for one in quiet), len(quiet)
                none = quiet[0].blow.chance
                return RareFailures(
                    self.task, refusal, scouts=len(scouts), without_events=counts, chance_without_events=none
                )
            portions = spread(scouts, tapes)
        return self._figure(quiet, self._played(place, portions, "rare"), len(scouts))

    def _not_rare(self) -> str | None:
        """Why plain trials do better, as soon as plain tapes say so; None if they do not."""
        failing = 0
        with closing(self._each(self._plainly, PLAIN_TAPES, lambda tally: tally)) as tallies:
            for played, tally in enumerate(tallies, 1):
                failing += tally.right == 0
                if failing > MOST_FAILING:
                    return f"not rare ({failing} of the first {played} plain tapes fail): count them by plain trials"
        return None

    def _figure(self, quiet: list[Played], found: list[Played], scouts: int) -> RareFailures:
        drawn: dict[Stratum, list[Played]] = {}
        for one in found:
            drawn.setdefault(one.portion.stratum, []).append(one)
        failed = [one for one in found if one.failed]
        weights = [one.part for one in failed]
        missed = max(just_missed((one.part, one.failed) for one in tapes) for tapes in drawn.values())
        refusal = _refusal(quiet, found)
        return RareFailures(
            self.task,
            refusal,
            weighted_rate(weights, max(one.part for one in found), missed) if refusal is None else None,
            effective_failures=effective(weights),
            failures=len(failed),
            silent=sum(one.tally.silent for one in failed),
            silent_rate=sum(one.part for one in failed if one.tally.silent),
            unseen_at_most=max(
                tapes[0].blow.chance * unseen((one.ratio, one.failed) for one in tapes) for tapes in drawn.values()
            ),
            tapes=len(quiet) + len(found),
            scouts=scouts,
            without_events=(sum(one.failed for one in quiet), len(quiet)),
            chance_without_events=quiet[0].blow.chance,
        )

    @property
    def _tape_s(self) -> float:
        return self.task.codec.duration_s(len(self.study.program))

    def _played(self, place: int, portions: list[Portion], purpose: str) -> list[Played]:
        """Every tape of the portions, in their order."""
        orders = [portion for portion in portions for _ in range(portion.tapes)]

        def order(trial: int) -> Played:
            return self._tape(place, orders[trial], trial, purpose)

        return list(self._each(order, len(orders), lambda played: played.tally))

    def _each(
        self, plays: Callable[[int], Ended], of: int, tally: Callable[[Ended], Tally]
    ) -> Generator[Ended, None, None]:
        """What ``plays`` makes of each trial, in their order, whoever plays it. Closed early, no further one starts."""
        held = audio_bytes(self.study, self._plain_tape(0))
        pool = ThreadPoolExecutor(max(1, min(self.workers, int(MOST_AUDIO_BYTES / max(held, 1.0)))), "rare")
        begun, total = perf_counter(), Tally()
        try:
            for done, one in enumerate(pool.map(plays, range(of)), 1):
                total += tally(one)
                to_go_s = (perf_counter() - begun) / done * (of - done)
                self.watch(News(done, of, (Result(self.task, total),), to_go_s))
                yield one
        finally:
            pool.shutdown(wait=False, cancel_futures=True)

    def _plain_tape(self, trial: int) -> Tape:
        return Tape((self.task.codec.spec, self.task.channel.spec), (self.task,), trial)

    def _clustered(self, model: Any) -> bool:
        """Whether an arrival may bring several events; their tilts multiply, so that few tapes carry all weight."""
        rng = stream(self.study.seed, 0, "rare arrivals")
        return any(len(model.arrive(0.0, 0.0, rng)) > 1 for _ in range(ARRIVALS_LOOKED_AT))

    def _plainly(self, trial: int) -> Tally:
        return play(self._plain_tape(trial), self.shelf, self.study.seed)[0]

    def _tape(self, place: int, portion: Portion, trial: int, purpose: str) -> Played:
        seed = self.study.seed
        with blamed(self.task, trial, seed, purpose):
            channel, blows = struck(self.task.channel, place, portion.stratum, portion.aim)
            worn = channel.degrade(self.shelf.tape(self.task.codec), stream(seed, trial, f"{purpose} channel"))
            decoded = self.task.receiver.receive(self.task.codec, (worn,), stream(seed, trial, f"{purpose} receiver"))
            return Played(portion, blows[0], score(self.study.program, decoded))


def _refusal(quiet: list[Played], aimed: list[Played]) -> str | None:
    """Why the failures are not those of the events; None if they are.

    Noise alone fails tapes with events as often as quiet ones, so that its part of all failures does not depend on how
    many tapes are quiet.
    """
    failed = sum(one.failed for one in quiet)
    if not failed:
        return None
    noise = failed / len(quiet)
    tapes = Counter(one.portion.stratum for one in aimed)
    figure = sum(one.weight / tapes[one.portion.stratum] for one in aimed if one.failed)
    if 2 * noise < figure + quiet[0].blow.chance * noise:
        return None
    told = f"{failed} of {len(quiet)} tapes without any fail"
    return f"failures without events dominate ({told}): count them by plain trials"
