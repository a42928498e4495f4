"""Engines by name: threads of this process, processes of this machine, or the workers of a cluster."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing, contextmanager

from ..contracts.errors import UsageError, did_you_mean, in_one_line
from .trials import Engine, Threads

ENGINES = ("threads", "processes", "dask")


@contextmanager
def engine(name: str = "threads", workers: int | None = None, scheduler: str | None = None) -> Iterator[Engine]:
    """The engine of that name, for as long as the block lasts.

    Args:
        workers: threads or processes; None for one a core. A cluster has the workers that it has.
        scheduler: address of the cluster's.

    Raises:
        UsageError: an unknown name, or an argument that the engine has no use for.
        TapewrightError: a scheduler that cannot be reached.
    """
    if name != "dask" and name in ENGINES and scheduler is not None:
        raise UsageError(f"Argument 'scheduler' goes with engine 'dask', not with '{name}'.")
    if name == "threads":
        yield Threads(workers)
    elif name == "processes":
        from .processes import Processes

        with closing(Processes(workers)) as processes:
            yield processes
    elif name == "dask":
        if scheduler is None:
            raise UsageError("engine 'dask' needs the address of a scheduler, such as tcp://HOST:8786.")
        if workers is not None:
            raise UsageError("Argument 'workers' goes not with engine 'dask'; a cluster has the workers that it has.")
        from .cluster import Dask

        with closing(Dask(scheduler)) as cluster:
            yield cluster
    else:
        hint = did_you_mean(name, ENGINES)
        raise UsageError(f"engine: there is no '{in_one_line(name, 40)}'.{hint} There are: {', '.join(ENGINES)}.")
