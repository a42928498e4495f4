"""Cold starts: whole processes, from nothing to the first thing a user waits for, with kernels compiled before."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path
from time import perf_counter

from ..trials import cores
from .paired import paired
from .row import Row

FIRST_BUILD = "first build of the kernels that compare needs"
MOST_BUILD_S = 10.0

BARE = ("-c", "")
"""The rival: an interpreter that does nothing."""

_COMMAND = "import sys; from tapewright.commands import main; sys.argv = ['tapewright', *sys.argv[1:]]; {}main()"
_STOP = "import os, threading; from tapewright.contracts.codec import Codec; Codec.encode = lambda *told: os._exit(0); "
"""A trial begins with its recording; there the process ends."""

STARTS: dict[str, tuple[float, str, tuple[str, ...]]] = {
    "--help": (13.0, "", ("--help",)),
    "encode of 10 s": (30.0, "", ("encode", "chime", "-o", "tape.wav", "--codec", "standard-300", "--force")),
    "compare before its first trial": (90.0, _STOP, ("compare",)),
}
"""What is started: the goal, what is changed before, and the arguments."""


def started(name: str) -> tuple[str, ...]:
    """The arguments of the interpreter."""
    _, before, arguments = STARTS[name]
    return ("-c", _COMMAND.format(before), *arguments)


def process(arguments: Sequence[str], folder: str, **environment: str) -> subprocess.CompletedProcess[str]:
    """A new interpreter, run to its end in ``folder``.

    Raises:
        subprocess.CalledProcessError: it failed.
    """
    return subprocess.run(
        [sys.executable, *arguments],
        cwd=folder,
        env={**os.environ, **environment},
        capture_output=True,
        text=True,
        check=True,
    )


def cold_starts(rounds: int) -> list[Row]:
    return [_cold_start(name, rounds) for name in STARTS]


def _cold_start(name: str, rounds: int) -> Row:
    with tempfile.TemporaryDirectory() as folder:
        arguments = started(name)
        timed = paired(lambda: process(arguments, folder), lambda: process(BARE, folder), rounds, "wall")
    return timed.into(Row(f"cold start: {name}", "python -c ''", 1, STARTS[name][0], at_least=False, unit="ms"), 1e3)


def first_build() -> Row:
    """``compare`` with no kernel compiled yet, less the same again, by the wall's clock."""
    arguments = ("-c", _COMMAND.format(""), "compare", "--trials", "1", "--workers", "1", "--json")
    with tempfile.TemporaryDirectory() as folder:
        cache = str(Path(folder) / "kernels")
        (took, worked), (then, then_worked) = (_seconds(arguments, folder, cache) for _ in range(2))
    note = (
        f"{took:.1f} s, from then on {then:.1f} s; processor time {worked:.1f} and {then_worked:.1f} s; "
        "the goal is in seconds"
    )
    used = min(2, cores())
    return Row(FIRST_BUILD, "compiled before", used, MOST_BUILD_S, at_least=False, ratio=took - then, note=note)


def _seconds(arguments: Sequence[str], folder: str, cache: str) -> tuple[float, float]:
    """Of a process: by the wall's clock, and of the processor with all that it started."""
    before, start = os.times(), perf_counter()
    process(arguments, folder, NUMBA_CACHE_DIR=cache)
    after, took = os.times(), perf_counter() - start
    worked = after.children_user + after.children_system - before.children_user - before.children_system
    return took, worked
