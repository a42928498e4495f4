"""Tables in C of a pulse schedule, beside the player that plays them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

from .pulse_schedule import PulseSchedule, Run

PLAYER_FILES = ("tape_player.h", "tape_player.c", "render.c")
"""The player itself, the same for every recording."""

RUN_BYTES = 4
_RUNS_A_LINE = 8


def player_source(name: str) -> str:
    """The text of one of ``PLAYER_FILES``."""
    return (Path(__file__).parent / "player" / name).read_text(encoding="ascii")


def table_bytes(schedule: PulseSchedule) -> int:
    """What the tables take of a microcontroller's memory."""
    left, right = schedule.runs
    return RUN_BYTES * (len(left) + (0 if right == left else len(right)))


def table_header(schedule: PulseSchedule) -> str:
    """``tape_tables.h``."""
    return (
        "#ifndef TAPE_TABLES_H\n#define TAPE_TABLES_H\n\n"
        '#include "tape_player.h"\n\n'
        f"#define TAPE_TICKS_PER_SECOND {schedule.ticks_per_s}u\n\n"
        "/* Left and right. */\n"
        "extern const tape_track tape_tracks[2];\n\n#endif\n"
    )


def table_source(schedule: PulseSchedule, about: Sequence[str]) -> Iterator[str]:
    """The lines of ``tape_tables.c``, headed by ``about``: what the recording is."""
    yield "/* " + "\n   ".join(_in_comment(line) for line in about) + " */\n"
    yield '\n#include "tape_tables.h"\n'
    left, right = schedule.runs
    names = ("both", "both") if left == right else ("left", "right")
    for name, runs in dict(zip(names, (left, right), strict=True)).items():
        yield from _table(name, runs)
    yield "\nconst tape_track tape_tracks[2] = {\n"
    for name in names:
        yield f"    {{{name}, sizeof {name} / sizeof {name}[0]}},\n"
    yield "};\n"


def _table(name: str, runs: Sequence[Run]) -> Iterator[str]:
    yield f"\nstatic const tape_run {name}[] = {{\n"
    # C knows no table without entries: a track that never sounds rests for one tick.
    shown = runs or ((1, 0),)
    for first in range(0, len(shown), _RUNS_A_LINE):
        yield "    " + " ".join(f"{{{ticks}, {waves}}}," for ticks, waves in shown[first : first + _RUNS_A_LINE]) + "\n"
    yield "};\n"


def _in_comment(line: str) -> str:
    """A line that neither ends a comment nor begins one."""
    return line.replace("*/", "* /").replace("/*", "/ *").encode("ascii", "backslashreplace").decode()
