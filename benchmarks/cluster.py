"""Trials on many machines, through dask.distributed.

The scheduler and its workers are somebody's who trusts us and whom we trust: what travels between them is pickled by
dask, and whoever can reach a scheduler can run code on its workers. Nothing of it is ever read from a file.
"""

from __future__ import annotations

import asyncio
import logging
import math
import re
import sys
from collections.abc import Callable, Generator, Iterable, Mapping
from contextlib import suppress
from time import monotonic, sleep
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

DESERTED_S = 30.0
"""How long a cluster may be without any worker before a run ends; whoever starts them anew needs some time."""

_COUNTED_EVERY_S = 1.0
"""How long a count of the workers is good for: asking costs as much as handing over an order."""

_LOOKED_EVERY_S = 0.002
"""How often to look for results while there are none: often beside the 7 ms that handing over an order costs."""

_ADDRESS = re.compile(r"(tcp|tls|ws|wss)://[^\s/]+:\d{1,5}")


class Dask:
    """Plays tapes on the workers of a dask scheduler.

    What dask and its network library log to the terminal is silenced in this process from here on.

    Args:
        scheduler: its address, such as tcp://10.0.0.1:8786.
        order_s: how long an order should keep a worker busy, at least; 0 for one tape an order.

    Raises:
        UsageError: no address, or one that needs certificates where there are none.
        TapewrightError: dask.distributed is not installed, or no scheduler answers there, or it has no workers.
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
        self._counted_at, self._threads = -math.inf, 0
        self._deserted_at: float | None = None
        _hush()
        _check_who_listens(scheduler, self._at)
        try:
            self._client = distributed.Client(scheduler, timeout=PATIENCE_S, set_as_default=False)
        except (OSError, ValueError) as error:
            raise TapewrightError(f"{self._at} cannot be reached: {in_one_line(error, 120)}.") from None
        try:
            self._client.wait_for_workers(1, timeout=PATIENCE_S)
        except TimeoutError:
            self.close()
            raise TapewrightError(f"{self._at} has no workers.") from None
        except Exception:
            self.close()
            raise TapewrightError(f"{self._at} is gone.") from None

    def close(self) -> None:
        """Leave the scheduler; its workers stay."""
        with suppress(Exception):  # whoever is gone already cannot be left
            self._client.close(timeout=5)

    @property
    def workers(self) -> int:
        """Threads of all workers that are there now; 1 while there is none.

        Raises:
            TapewrightError: there has been none for ``DESERTED_S``, or the scheduler is gone.
        """
        if monotonic() - self._counted_at > _COUNTED_EVERY_S:
            threads: dict[str, int] = self._ask(self._client.nthreads)
            now = monotonic()
            self._counted_at, self._threads = now, sum(threads.values())
            self._deserted_at = None if threads else now if self._deserted_at is None else self._deserted_at
        if self._deserted_at is not None and monotonic() - self._deserted_at > DESERTED_S:
            raise TapewrightError(
                f"{self._at} has lost all its workers, and none came within {DESERTED_S:g} s; "
                "a study keeps what was played."
            )
        return max(1, self._threads)

    def play(self, study: Study, to_play: Iterable[Tape]) -> Generator[Played, None, None]:
        """See ``trials.Engine``. A worker that dies costs time, nothing else: another plays its tapes. While there is
        no worker at all, those that come back are waited for.

        Raises:
            PlugInError: a worker lacks a plug-in or a version; names both.
            TapewrightError: a plug-in raised, or the scheduler is gone, or all workers are and none comes back.
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
                while not results.has_ready():
                    _ = self.workers  # results may never come: it says so when nobody is left to give any
                    sleep(_LOOKED_EVERY_S)
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
        while not (answers := self._ask(self._client.run, _lack, wanted, on_error="return")):
            _ = self.workers  # it says so when nobody has been there for too long
            sleep(_COUNTED_EVERY_S / 4)
        lacking = [_complaint(worker, said) for worker, said in sorted(answers.items()) if said is not None]
        if lacking:
            more = f" Of {len(answers)} workers {len(lacking)} lack something." if len(lacking) > 1 else ""
            raise PlugInError(f"{lacking[0]}{more}")

    def _ask(self, question: Callable[..., Any], *arguments: Any, **options: Any) -> Any:
        """What the scheduler says."""
        try:
            return question(*arguments, **options)
        except Exception:  # of many types, by how far dask has noticed that nobody is there any more
            raise TapewrightError(f"{self._at} is gone.") from None

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


def _hush() -> None:
    """Take from the loggers of dask what writes to the terminal: what is wrong is said in our one line.

    Handlers that write elsewhere, to a file for instance, stay.
    """
    terminal = (sys.stderr, sys.stdout, sys.__stderr__, sys.__stdout__)
    for name, logger in list(logging.root.manager.loggerDict.items()):
        if isinstance(logger, logging.Logger) and name.partition(".")[0] in ("distributed", "tornado"):
            for handler in list(logger.handlers):
                if isinstance(handler, logging.StreamHandler) and handler.stream in terminal:
                    logger.removeHandler(handler)
                    logger.addHandler(logging.NullHandler())  # with none at all Python would write to the terminal


def _check_who_listens(scheduler: str, at: str) -> None:
    """Dask's client waits for ever for the greeting of whoever took its call, so we ask first, and with a limit.

    Raises:
        UsageError: no certificates for an address that needs them.
        TapewrightError: nobody listens there, or no scheduler.
    """
    import dask
    from distributed import Security
    from distributed.comm.core import CommClosedError, FatalCommClosedError
    from distributed.utils import LoopRunner

    if dask.config.get("distributed.client.security-loader", None):
        return  # certificates come from a function of the user's, which is dask's to call
    over = scheduler.partition(":")[0]
    try:
        arguments = Security().get_connection_args("client")
        if over == "tls" and arguments["ssl_context"] is None:
            raise UsageError(f"{at}: tls needs certificates, and dask's configuration (distributed.comm.tls) has none.")
        if LoopRunner().run_sync(_is_scheduler, scheduler, arguments):
            return
    except UsageError:
        raise
    except (FatalCommClosedError, OSError, ValueError) as error:
        # Dask tells of a call that nobody takes with a plain OSError, and of a failed TLS with the fatal one.
        if isinstance(error, FatalCommClosedError) or not isinstance(error, (TimeoutError, CommClosedError)):
            raise TapewrightError(f"{at} cannot be reached: {in_one_line(error, 120)}.") from None
    except Exception:
        pass  # what a stranger sends, read as a message of dask's, fails in many ways: for want of memory, for one
    raise TapewrightError(f"{at}: what listens there is no dask scheduler, or does not answer over {over}.")


async def _is_scheduler(address: str, arguments: Mapping[str, Any]) -> bool:
    from distributed.comm import connect
    from distributed.core import send_recv

    async def ask() -> bool:
        comm = await connect(address, timeout=PATIENCE_S, **arguments)
        try:
            return "workers" in await send_recv(comm, op="identity")  # which workers of dask's have none of
        finally:
            comm.abort()

    return await asyncio.wait_for(ask(), 1.1 * PATIENCE_S)  # a call that nobody takes ends by itself before


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
