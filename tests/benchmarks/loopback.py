"""A dask scheduler and its workers on this machine, each a process of its own."""

from __future__ import annotations

import os
import socket
import subprocess
import sys
import threading
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field


@dataclass
class Cluster:
    """What runs.

    Attributes:
        scheduler: its address.
        process: the scheduler's.
        workers: processes by name.
    """

    scheduler: str
    process: subprocess.Popen
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
    running = Cluster("", scheduler)
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


@contextmanager
def stranger(greeting: bytes | None) -> Iterator[str]:
    """The address of something that is no scheduler: it says ``greeting`` to every caller, or hangs up for None."""
    listening = socket.create_server(("127.0.0.1", 0))
    callers: list[socket.socket] = []

    def answer() -> None:
        while True:
            try:
                caller, _ = listening.accept()
            except OSError:  # the block is over
                return
            if greeting is None:
                caller.close()
            else:
                caller.sendall(greeting)
                callers.append(caller)

    threading.Thread(target=answer, daemon=True).start()
    try:
        yield f"tcp://127.0.0.1:{listening.getsockname()[1]}"
    finally:
        listening.shutdown(socket.SHUT_RDWR)
        for open_one in (listening, *callers):
            open_one.close()


def _start(module: str, *arguments: str, **environment: str) -> subprocess.Popen:
    call = [sys.executable, "-m", f"distributed.cli.{module}", *arguments]
    kept: Mapping[str, str] = {**os.environ, **environment}
    said = subprocess.PIPE if module == "dask_scheduler" else subprocess.DEVNULL
    return subprocess.Popen(call, stdout=subprocess.DEVNULL, stderr=said, text=True, env=kept)
