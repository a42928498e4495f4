"""Trials on many machines, through dask.distributed.

The scheduler and its workers are somebody's who trusts us and whom we trust: what travels between them is pickled by
dask, and whoever can reach a scheduler can run code on its workers. Nothing of it is ever read from a file.
"""

from __future__ import annotations

import math
import re
from collections.abc import Generator, Iterable
from contextlib import suppress
from time import monotonic
from typing import Any

from ..contracts.errors import PlugInError, TapewrightError, UsageError, in_one_line
from .orders import Delivery, Needs, Order, needs, order, perform
from .packs import Packs
from .study import Study
from .trials import Played, Tape

ORDER_S = 2.0
"""How long an order should keep a worker busy, so that handing it over costs little beside it."""

ORDERS_A_SECOND = 25
"""At most, of long tapes: with many workers orders grow, because one client and one scheduler hand them all out."""

_WAITING = 2
"""Orders handed out for each thread of the cluster, so that none idles while the next is on its way."""

_OURS = "tapewright"

PATIENCE_S = 15.0
"""How long nobody may answer."""

_COUNTED_EVERY_S = 1.0
"""How long a count of the workers is good for: asking costs as much as handing over an order."""

_ADDRESS = re.compile(r"(tcp|tls|ws|wss)://[^\s/]+:\d{1,5}")


class Dask:
    """Plays tapes on the workers of a dask scheduler.

    Args:
        scheduler: its address, such as tcp://10.0.0.1:8786.
        order_s: how long an order should keep a worker busy, at least; 0 for one tape an order.

    Raises:
        UsageError: no address. TapewrightError: dask.distributed is not installed, or nobody answers there.
    """

    def __init__(self, scheduler: str, order_s: float = ORDER_S) -> None:
        if not _ADDRESS.fullmatch(scheduler):
            raise UsageError(
                f"Argument 'scheduler' must be such as tcp://HOST:8786, not '{in_one_line(scheduler, 80)}'."
            )
        try:
            import distributed
        except ImportError:
            raise TapewrightError(
                "engine 'dask' needs dask.distributed; pip install 'tapewright[cluster]' brings it."
            ) from None
        self._at = f"scheduler '{scheduler}'"
        self._order_s = order_s
        self._counted_at, self._threads = -math.inf, 1
        try:
            self._client = distributed.Client(scheduler, timeout=PATIENCE_S, set_as_default=False)
        except (OSError, ValueError) as error:
            raise TapewrightError(f"{self._at} cannot be reached: {in_one_line(error, 120)}.") from None
        try:
            self._client.wait_for_workers(1, timeout=PATIENCE_S)
        except TimeoutError:
            self.close()
            raise TapewrightError(f"{self._at} has no workers.") from None

    def close(self) -> None:
        """Leave the scheduler; its workers stay."""
        with suppress(Exception):  # whoever is gone already cannot be left
            self._client.close(timeout=5)

    @property
    def workers(self) -> int:
        """Threads of all workers that are there now."""
        if monotonic() - self._counted_at > _COUNTED_EVERY_S:
            threads: dict[str, int] = self._client.nthreads()
            self._counted_at, self._threads = monotonic(), max(1, sum(threads.values()))
        return self._threads

    def play(self, study: Study, to_play: Iterable[Tape]) -> Generator[Played, None, None]:
        """See ``trials.Engine``. A worker that dies costs time, nothing else: another plays its tapes.

        Raises:
            PlugInError: a worker lacks a plug-in or a version; names both.
            TapewrightError: a plug-in raised, or the scheduler is gone.
        """
        import distributed

        packs = Packs(to_play)
        handed: dict[Any, tuple[Tape, ...]] = {}
        asked: set[Needs] = set()
        # Results are fetched as they appear and not when they are asked for, which halves what an order costs.
        results = distributed.as_completed(loop=self._client.loop, with_results=True, raise_errors=False)
        try:
            while True:
                while len(handed) < _WAITING * self.workers and (tapes := packs.next(self._worth_s())):
                    wanted = needs(tapes[0].tasks)
                    if wanted not in asked:
                        self._check(wanted)
                        asked.add(wanted)
                    future = self._client.submit(_perform, order(study, tapes), pure=False)
                    handed[future] = tapes
                    results.add(future)
                if not handed:
                    return
                future, result = next(results)
                tapes = handed.pop(future)
                delivery = result if isinstance(result, Delivery) else self._undelivered(future, tapes)
                packs.took(tapes[0].kind, delivery.busy_s)
                for tape, tallies, busy_s in zip(tapes, delivery.tallies, delivery.busy_s, strict=True):
                    yield Played(tape, tallies, busy_s, delivery.machine)
        finally:
            with suppress(Exception):  # nobody to tell: the scheduler may be what is gone
                self._client.cancel(list(handed))

    def _worth_s(self) -> float:
        """How long an order should take."""
        return max(self._order_s, self.workers / ORDERS_A_SECOND) if self._order_s else 0.0

    def _check(self, wanted: Needs) -> None:
        """Ask every worker whether it has what is needed, before any work."""
        answers = self._client.run(_lack, wanted, on_error="return")
        if not answers:
            raise TapewrightError(f"{self._at} has no workers.")
        lacking = [_complaint(worker, said) for worker, said in sorted(answers.items()) if said is not None]
        if lacking:
            more = f" Of {len(answers)} workers {len(lacking)} lack something." if len(lacking) > 1 else ""
            raise PlugInError(f"{lacking[0]}{more}")

    def _undelivered(self, future: Any, tapes: tuple[Tape, ...]) -> Delivery:
        """Say why; or fetch what was only lost on its way."""
        try:
            delivery: Delivery = future.result()
        except TapewrightError:
            raise
        except Exception as error:
            kind = type(error).__name__
            task = tapes[0].tasks[0]
            what = f"codec '{in_one_line(task.codec_name, 60)}', channel '{in_one_line(task.channel_name, 60)}'"
            if kind == "KilledWorker":
                raise TapewrightError(
                    f"{what}: several workers died over trials {tapes[0].trial} to {tapes[-1].trial}; "
                    "is their memory too small?"
                ) from None
            if kind in ("CancelledError", "FutureCancelledError"):
                raise TapewrightError(f"{self._at} is gone.") from None
            raise TapewrightError(f"{what}: {kind}: {in_one_line(error)}") from None
        return delivery


def _perform(asked: Order) -> Delivery:
    from distributed import get_worker

    return perform(asked, str(get_worker().name))


def _lack(wanted: Needs, dask_worker: Any = None) -> str | None:
    lacks = wanted.lacks()
    return None if lacks is None else f"worker '{dask_worker.name}' {lacks}."


def _complaint(worker: str, said: object) -> str:
    if isinstance(said, str):
        return said
    if f"No module named '{_OURS}" in str(said):  # met while the question is unpacked, and wrapped by dask
        return f"worker at {worker} lacks the package {_OURS}; install the same there."
    return f"worker at {worker} cannot be asked: {type(said).__name__}: {in_one_line(said, 120)}."
