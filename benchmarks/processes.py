"""Trials on processes of this machine, through the standard library's pool of them.

Threads of one process wait for each other in Python's interpreter lock wherever no kernel runs. Processes do not; they
take about a second to start, and each its own memory. They are told what to play as the workers of a cluster are.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
from collections.abc import Generator, Iterable
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from multiprocessing.connection import Connection
from multiprocessing.connection import wait as wait_for
from typing import Any

from ..contracts.errors import TapewrightError, in_one_line
from .orders import Delivery, order, played
from .packs import Packs
from .study import Study
from .trials import MOST_AUDIO_BYTES, Played, Tape, Threads, audio_bytes

ORDER_S = 0.1
"""How long an order should keep a process busy: handing it over takes 2 ms, and whoever interrupts waits for it."""

_WAITING = 1
"""Orders handed out beyond one a process."""


class Processes:
    """Plays tapes on processes of this machine, which are started when they are first needed and live until ``close``.

    Args:
        workers: how many; None for one a core.

    Raises:
        UsageError: out of range.
    """

    def __init__(self, workers: int | None = None) -> None:
        self._workers = Threads(workers).workers
        kinds = multiprocessing.get_all_start_methods()
        context = multiprocessing.get_context("forkserver" if "forkserver" in kinds else "spawn")
        if "forkserver" in kinds:
            context.set_forkserver_preload([played.__module__])
        told, self._open = context.Pipe(duplex=False)
        self._pool = ProcessPoolExecutor(self._workers, context, _begin, (context.Value("b", 0), told))

    def close(self) -> None:
        """End the processes; orders that they work on are given up."""
        self._pool.shutdown(wait=False, cancel_futures=True)
        self._open.close()

    @property
    def workers(self) -> int:
        """How many tapes play at once."""
        return self._workers

    def play(self, study: Study, to_play: Iterable[Tape]) -> Generator[Played, None, None]:
        """See ``trials.Engine``.

        Raises:
            TapewrightError: a plug-in raised, or a process died.
        """
        packs = Packs(to_play)
        playing: dict[Future[Delivery], tuple[tuple[Tape, ...], float]] = {}
        tapes = packs.next(0.0)
        try:
            while tapes or playing:
                while tapes and len(playing) < self._workers + _WAITING:
                    needed = audio_bytes(study, tapes[0])
                    if playing and sum(one for _, one in playing.values()) + needed > MOST_AUDIO_BYTES:
                        break
                    playing[self._pool.submit(played, order(study, tapes))] = tapes, needed
                    tapes = packs.next(ORDER_S)
                ended = wait(playing, return_when=FIRST_COMPLETED).done
                for future in [future for future in playing if future in ended]:
                    ours, _ = playing.pop(future)
                    delivery = future.result()
                    packs.took(ours[0].kind, delivery.busy_s)
                    for tape, tallies, busy_s in zip(ours, delivery.tallies, delivery.busy_s, strict=True):
                        yield Played(tape, tallies, busy_s)
        except BrokenProcessPool as error:
            raise TapewrightError(
                f"a process that played tapes died: {in_one_line(error, 120)} Is there memory for {self._workers}?"
            ) from None
        finally:
            for future in playing:
                future.cancel()


def _begin(others: Any, told: Connection) -> None:
    """Ctrl-C goes to every process of a terminal, and the first one is who answers it; these end when it ends.

    Args:
        others: shared by all: whether one began before. One is enough to tell of the first build.
        told: closed at the other end when these are needed no more.
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_the_first, args=(told,), daemon=True).start()
    with others.get_lock():
        before, others.value = others.value, 1
    if before:
        from ..kernels import listener

        listener.said = True


def _end_with_the_first(told: Connection) -> None:
    first = multiprocessing.parent_process()
    wait_for([told, *([first.sentinel] if first else [])])
    os._exit(0)
