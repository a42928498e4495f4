"""Trials: whole tapes, recorded, worn and heard, on all cores.

The unit of work is one tape: one codec's recording, sent through one channel in one trial, heard by every receiver.
Its randomness is keyed by (seed, trial, "channel") and (seed, trial, "receiver"), never by the codec: all candidates
meet the same tape. Results are sums of counts, so neither the workers nor the order can change them.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Generator, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ThreadPoolExecutor, wait
from contextlib import closing
from dataclasses import dataclass
from time import perf_counter
from typing import Protocol

from ..contracts.errors import UsageError
from ..contracts.streams import stream
from .blamed import blamed
from .forecast import Forecast
from .shelf import Shelf
from .study import Study, Task
from .tally import Tally, score

MOST_WORKERS = 1024

MOST_AUDIO_BYTES = 3 << 30
"""Audio held at once. A 60-minute stereo side at 44.1 kHz is 1.3 GB; with less room fewer tapes play at once."""

_COPIES = 4
"""What one trial holds at its peak: the recording, a stage's input and output and what it works with (3.3 measured)."""

_FRAME_BYTES = 8
"""Two tracks of float32."""

_WAITING = 1
"""Tapes handed out beyond one a worker, so that no worker idles while the results of another are counted."""

FIRST_LOOK = 2
"""Trials of every kind that run before the rest, so that each kind's cost is known early."""


@dataclass(frozen=True)
class Result:
    """What a task came to."""

    task: Task
    tally: Tally


@dataclass(frozen=True)
class News:
    """Where a run stands, told to whoever watches.

    Attributes:
        done, of: tapes played and to play.
        found: the tasks that the latest tape belongs to, with their sums so far; empty at the start.
        remaining_s: honest time to go; None while unknown.
    """

    done: int
    of: int
    found: tuple[Result, ...]
    remaining_s: float | None


@dataclass(frozen=True)
class Tape:
    """One unit of work.

    Attributes:
        kind: canonical codec and channel; tapes of one kind cost about the same.
        tasks: they share codec and channel and differ in who listens.
        trial: from 0.
    """

    kind: tuple[str, str]
    tasks: tuple[Task, ...]
    trial: int


def unwatched(news: News) -> None:
    """The watcher that looks away."""


def cores() -> int:
    """Processor cores this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def kinds(study: Study) -> dict[tuple[str, str], tuple[Task, ...]]:
    """The tasks that share their tapes, by canonical codec and channel, codec by codec; the refused left out."""
    shared: dict[tuple[str, str], tuple[Task, ...]] = {}
    for task in sorted(study.tasks(), key=lambda task: study.codecs.index(task.codec_name)):
        if task.refusal is None:
            kind = task.codec.spec, task.channel.spec
            shared[kind] = (*shared.get(kind, ()), task)
    return shared


def tapes(study: Study) -> Iterator[Tape]:
    """Every tape of a study: two of each kind first, then the rest, codec by codec."""
    shared = kinds(study)
    for trials in (range(min(FIRST_LOOK, study.trials)), range(FIRST_LOOK, study.trials)):
        for kind, tasks in shared.items():
            for trial in trials:
                yield Tape(kind, tasks, trial)


def play(tape: Tape, shelf: Shelf, seed: int) -> tuple[Tally, ...]:
    """One tape recorded, worn and heard: the tally of each of its tasks.

    Raises:
        TapewrightError: a plug-in raised; says on which tape.
    """
    first = tape.tasks[0]
    with blamed(first, tape.trial, seed):
        worn = first.channel.degrade(shelf.tape(first.codec), stream(seed, tape.trial, "channel"))
        return tuple(
            score(shelf.program, task.receiver.receive(task.codec, (worn,), stream(seed, tape.trial, "receiver")))
            for task in tape.tasks
        )


def audio_bytes(study: Study, tape: Tape) -> float:
    """What a trial holds of audio at its peak."""
    return _COPIES * _FRAME_BYTES * study.sample_rate_hz * tape.tasks[0].codec.duration_s(len(study.program))


@dataclass(frozen=True)
class Played:
    """A tape that was played.

    Attributes:
        tallies: of each of the tape's tasks.
        busy_s: how long it kept a worker busy.
        machine: what it played on; None for this machine.
    """

    tape: Tape
    tallies: tuple[Tally, ...]
    busy_s: float
    machine: str | None = None


class Engine(Protocol):
    """Who plays tapes. Engines differ in where, never in what comes out."""

    @property
    def workers(self) -> int:
        """How many tapes play at once."""

    def play(self, study: Study, to_play: Iterable[Tape]) -> Generator[Played, None, None]:
        """Every one of those tapes of the study, in whatever order they end."""


@dataclass(frozen=True)
class Threads:
    """Plays tapes on threads of this process.

    Args:
        workers: how many; None for one a core.

    Raises:
        UsageError: out of range.
    """

    workers: int

    def __init__(self, workers: int | None = None) -> None:
        workers = cores() if workers is None else workers
        if not 1 <= workers <= MOST_WORKERS:
            raise UsageError(f"Argument 'workers' must be 1 to {MOST_WORKERS}, not {workers}.")
        object.__setattr__(self, "workers", workers)

    def play(self, study: Study, to_play: Iterable[Tape]) -> Generator[Played, None, None]:
        """See ``Engine``. Closed early, tapes not yet started never start, and nobody waits for those that play."""
        shelf = Shelf(study.program, study.sample_rate_hz, MOST_AUDIO_BYTES // _COPIES)

        def timed(tape: Tape) -> Played:
            begun = perf_counter()
            return Played(tape, play(tape, shelf, study.seed), perf_counter() - begun)

        playing: dict[Future[Played], float] = {}
        pool = ThreadPoolExecutor(self.workers, thread_name_prefix="trial")
        waiting = iter(to_play)
        following = next(waiting, None)
        try:
            while following is not None or playing:
                while following is not None and len(playing) < self.workers + _WAITING:
                    needed = audio_bytes(study, following)
                    if playing and sum(playing.values()) + needed > MOST_AUDIO_BYTES:
                        break
                    playing[pool.submit(timed, following)] = needed
                    following = next(waiting, None)
                done_now = wait(playing, return_when=FIRST_COMPLETED).done
                for ended in [future for future in playing if future in done_now]:
                    del playing[ended]
                    yield ended.result()
        finally:
            pool.shutdown(wait=False, cancel_futures=True)


def run(
    study: Study,
    workers: int | None = None,
    watch: Callable[[News], None] = unwatched,
    engine: Engine | None = None,
) -> tuple[Result, ...]:
    """Every tape of the study, played by ``engine``; results in the order of its tasks.

    An interruption (Ctrl-C, or an exception from ``watch``) passes through: tapes not yet started never start, and
    nobody waits for those that play.

    Args:
        workers: threads of this process; None for one a core.
        engine: who plays instead of those.

    Raises:
        UsageError: workers out of range.
        TapewrightError: a plug-in raised.
    """
    engine = Threads(workers) if engine is None else engine
    shared = kinds(study)
    sums = {kind: [Tally()] * len(tasks) for kind, tasks in shared.items()}
    tape_s = {kind: tasks[0].codec.duration_s(len(study.program)) for kind, tasks in shared.items()}
    of, done = study.trials * len(tape_s), 0
    forecast = Forecast(dict.fromkeys(tape_s, study.trials), tape_s, engine.workers)
    watch(News(0, of, (), None))
    with closing(engine.play(study, tapes(study))) as results:
        for played in results:
            kind = played.tape.kind
            sums[kind] = [before + tally for before, tally in zip(sums[kind], played.tallies, strict=True)]
            forecast.saw(kind, played.busy_s)
            done += 1
            found = tuple(map(Result, played.tape.tasks, sums[kind]))
            watch(News(done, of, found, forecast.remaining_s()))
    found_of = {task: tally for kind, tasks in shared.items() for task, tally in zip(tasks, sums[kind], strict=True)}
    return tuple(Result(task, found_of.get(task, Tally())) for task in study.tasks())
