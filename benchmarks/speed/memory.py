"""How much memory a trial of a long tape takes, each length in a process of its own."""

from __future__ import annotations

import json
import sys
import tempfile
from pathlib import Path

from .cold import process
from .line import MOST_OFF, STRAIGHT, Line
from .row import Row

GROWTH = "growth: memory with tape length"
SIDE = "a 60-minute side, one trial"
SIDE_S = 3600.0
MOST_GIB = 4.0
BYTES_A_SECOND = 116.0
"""Of a program on a tape by ``sturdy``: 1,200 bit/s less correction, frames and checks."""

_CHILD = "from tapewright.benchmarks.speed.memory import child; child({})"


def child(seconds: float) -> None:
    """One trial of ``sturdy`` over ``ordinary-worn`` that lasts so long on tape; peak memory and tape as JSON."""
    from ..study import Study
    from ..trials import run

    program = bytes(range(256)) * max(1, int(BYTES_A_SECOND * seconds) // 256)
    asked = Study(program, "ramp", ("sturdy",), ("sound",), ("worn",), 1)
    (result,) = run(asked, 1)
    tape_s = result.task.codec.duration_s(len(program))
    print(json.dumps({"gib": peak_kib() / 2**20, "tape_s": tape_s, "right": result.tally.right}))


def peak_kib() -> float:
    """The most memory that this process has held."""
    status = Path("/proc/self/status")
    if status.exists():
        # What Linux tells as ``ru_maxrss`` is no less than what the parent held when it started this process.
        told = next((line for line in status.read_text().splitlines() if line.startswith("VmHWM:")), None)
        if told is not None:
            return float(told.split()[1])
    import resource

    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return most / 1024 if sys.platform == "darwin" else float(most)


def peak(seconds: float) -> dict[str, float]:
    """What a child says of itself."""
    with tempfile.TemporaryDirectory() as folder:
        told: dict[str, float] = json.loads(process(("-c", _CHILD.format(seconds)), folder).stdout)
    return told


def growth_of_memory(most_s: float) -> Row:
    told = [peak(share * most_s) for share in (0.25, 0.5, 0.75, 1.0)]
    fit = Line.through([one["tape_s"] for one in told], [one["gib"] for one in told])
    note = f"{1024 * fit.start:.0f} MiB and {1024 * 60 * fit.slope:.0f} MiB a minute, up to {told[-1]['tape_s']:.0f} s"
    return Row(GROWTH, STRAIGHT, 1, MOST_OFF, at_least=False, ratio=fit.off, note=note)


def whole_side() -> Row:
    told = peak(SIDE_S)
    heard = "right" if told["right"] else "not right"
    note = f"GiB at the most, for {told['tape_s'] / 60:.1f} minutes of sturdy over worn, {heard}"
    return Row(SIDE, f"{MOST_GIB:g} GiB", 1, MOST_GIB, at_least=False, ratio=told["gib"], note=note)
