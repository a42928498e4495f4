"""A dask scheduler and its workers on this machine, each a process of its own."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field


@dataclass
class Cluster:
    """What runs.

    Attributes:
        scheduler: its address.
        workers: processes by name.
    """

    scheduler: str
    workers: dict[str, subprocess.Popen] = field(default_factory=dict)

    def start_worker(self, name: str, **environment: str) -> None:
        """Another worker of one thread, without a nurse that would start it again."""
        self.workers[name] = _start(
            "dask_worker",
            self.scheduler,
            "--name",
            name,
            "--nthreads",
            "1",
            "--no-nanny",
            "--no-dashboard",
            **environment,
        )


@contextmanager
def cluster(names: tuple[str, ...], **environment: str) -> Iterator[Cluster]:
    """A scheduler and workers of these names, with ``environment`` for each; all are gone after the block."""
    scheduler = _start("dask_scheduler", "--host", "127.0.0.1", "--port", "0", "--no-dashboard", **environment)
    running = Cluster("")
    try:
        for line in scheduler.stderr:
            if "Scheduler at:" in line:
                running.scheduler = line.split()[-1]
                break
        assert running.scheduler.startswith("tcp://127.0.0.1:")
        for name in names:
            running.start_worker(name, **environment)
        yield running
    finally:
        for process in (*running.workers.values(), scheduler):
            process.kill()
            process.wait()
        scheduler.stderr.close()


def _start(module: str, *arguments: str, **environment: str) -> subprocess.Popen:
    call = [sys.executable, "-m", f"distributed.cli.{module}", *arguments]
    kept: Mapping[str, str] = {**os.environ, **environment}
    said = subprocess.PIPE if module == "dask_scheduler" else subprocess.DEVNULL
    return subprocess.Popen(call, stdout=subprocess.DEVNULL, stderr=said, text=True, env=kept)
