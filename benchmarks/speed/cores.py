"""What a second core brings, and that time grows straight with trials and with tape."""

from __future__ import annotations

from dataclasses import replace
from time import process_time

from ...files.chime import NAME
from ...files.programs import read_program
from ..engines import engine
from ..study import Study
from ..trials import cores, run
from .chain import SEED
from .line import MOST_OFF, STRAIGHT, Line
from .paired import paired
from .report import load
from .row import Row

SHORT_BYTES, LONG_BYTES = 512, 4096
"""Of a short tape more is spent in what threads do one after the other."""

FEWEST = 32
"""Trials of the short tape: of fewer the last one, which plays alone, would count."""

MAIN_JOB_SHARE = 8
"""So many trials of the short tape for one of the main job, which is of sixteen kinds, some of them long."""


def study(trials: int, payload_bytes: int = SHORT_BYTES) -> Study:
    """``sturdy`` over ``ordinary-worn``."""
    return Study(
        bytes(range(256)) * (payload_bytes // 256) or b"0", "ramp", ("sturdy",), ("sound",), ("worn",), trials, SEED
    )


def main_job(trials: int) -> Study:
    """What ``tapewright compare`` plays if nothing is asked for, with fewer trials."""
    return Study(read_program(NAME).data, NAME, trials=trials, seed=SEED)


def second_core(trials: int, rounds: int) -> list[Row]:
    works = {f"trials of {SHORT_BYTES:,} bytes": study(max(trials, FEWEST))}
    if trials >= FEWEST:  # a quick run has no time for the long ones
        works = {
            "the main job": main_job(trials // MAIN_JOB_SHARE),
            f"trials of {LONG_BYTES:,} bytes": study(trials, LONG_BYTES),
            f"trials of {SHORT_BYTES:,} bytes": study(2 * trials),
        }
    return [
        _second_core(kind, work, asked, rounds if len(works) == 1 else rounds // 2 + 1)
        for kind in ("threads", "processes")
        for work, asked in works.items()
    ]


def _second_core(kind: str, work: str, asked: Study, rounds: int) -> Row:
    """Two workers against one thread; processes once they are there, which takes about a second."""
    row = Row(f"1 to 2 cores: {kind}, {work}", "1 thread", 2, 1.8, unit="ms a tape")
    if cores() < 2:
        return replace(row, note="not measured, because there is but one core")
    with engine(kind, 2) as two:
        timed = paired(lambda: run(asked, engine=two), lambda: run(asked, 1), rounds, "wall")
    note = f"by the wall's clock, with a load of {load()[0]:.1f} on the machine"
    return timed.into(replace(row, note=note), 1e3 / (asked.trials * len(asked.tasks())))


def growth_with_trials(most: int) -> Row:
    sizes = [most // 8, most // 4, most // 2, most]
    run(study(2), 1)
    seconds = [_took(study(trials)) for trials in sizes]
    return _growth("time with trials", sizes, seconds, "trials")


def growth_with_tape(most_bytes: int) -> Row:
    sizes = [most_bytes // 8, most_bytes // 4, most_bytes // 2, most_bytes]
    run(study(2), 1)
    seconds = [_took(study(2, size)) for size in sizes]
    (task,) = study(1).tasks()
    tape_s = [round(task.codec.duration_s(size)) for size in sizes]
    return _growth("time with tape length", tape_s, seconds, "s of tape")


def _took(asked: Study) -> float:
    begun = process_time()
    run(asked, 1)
    return process_time() - begun


def _growth(work: str, sizes: list[int], seconds: list[float], unit: str) -> Row:
    fit = Line.through(sizes, seconds)
    took = ", ".join(f"{second:.2f} s" for second in seconds)
    listed = ", ".join(map(str, sizes))
    note = f"{took} of processor time for {listed} {unit}: {1e3 * fit.start:.0f} ms and {1e3 * fit.slope:.2f} ms each"
    return Row(f"growth: {work}", STRAIGHT, 1, MOST_OFF, at_least=False, ratio=fit.off, note=note)
