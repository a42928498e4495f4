"""Runs of the command line in a process of its own, with the toys installed and every warning an error."""

import os
import signal
import subprocess
import sys
from pathlib import Path

TOYS = Path(__file__).parents[1] / "benchmarks" / "toys"

_NOT_OURS = ("TAPEWRIGHT_", "PYTHON", "FORCE_COLOR", "NO_COLOR", "COLUMNS")


def interruptible() -> None:
    """For a child before it starts: Ctrl-C is heard, also where the tests themselves run in the background."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


def environment(**more: str) -> dict[str, str]:
    """The caller's environment without what would change the output or what is installed, and ``more``."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith(_NOT_OURS)}
    ours = {"PYTHONPATH": str(TOYS), "PYTHONSAFEPATH": "1", "PYTHONWARNINGS": "error", "TERM": "xterm-256color"}
    return {**kept, **ours, **more}


def tapewright(*arguments: str, cwd: Path | None = None, **more: str) -> subprocess.CompletedProcess[str]:
    """``tapewright ARGUMENTS`` in the folder ``cwd`` with the environment variables ``more``."""
    return subprocess.run(
        [sys.executable, "-m", "tapewright", *arguments],
        capture_output=True,
        text=True,
        cwd=cwd,
        env=environment(**more),
        timeout=120,
    )
