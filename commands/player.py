"""``tapewright player``: the recording as pulses, for a microcontroller that plays it."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from .completion import codecs


def player(
    program: Annotated[
        str, typer.Argument(help="Raw binary, Intel HEX or Motorola S-record; 'chime' is the demo program.")
    ],
    output: Annotated[Path, typer.Option("--output", "-o", help="Folder to write the files into.")],
    codec: Annotated[
        str, typer.Option(help="Spec or preset; 'tapewright plugins' lists them.", autocompletion=codecs)
    ] = "plain-clocked",
    force: Annotated[bool, typer.Option("--force", help="Overwrite existing files.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print what was written as JSON.")] = False,
) -> None:
    """Write a recording as a pulse schedule and as C tables.

    The folder gets schedule.csv (track, start, end, and tone or level), tape_tables.c and .h (the recording),
    tape_player.c and .h (the player, for any microcontroller with a timer and two pins) and render.c (which plays the
    tables into a sound file on a computer).

    Example: tapewright player chime -o chime-player --codec plain-clocked
    """
    from ..contracts import registry
    from ..contracts.codec import FORMAT_VERSION
    from ..contracts.errors import in_one_line
    from ..files.folder_writing import check_folder, whole_folder
    from ..files.label import Label
    from ..files.programs import read_program
    from ..reports.player_tables import PLAYER_FILES, player_source, table_bytes, table_header, table_source
    from ..reports.pulse_schedule import pulse_schedule
    from .progress import working

    names = ("schedule.csv", "tape_tables.h", "tape_tables.c", *PLAYER_FILES)
    check_folder(output, names, force)
    stack = registry.codec(codec)
    source = read_program(program)
    tape_s = stack.duration_s(len(source.data))
    size = len(source.data)
    with working("pulse by pulse") as watch:
        watch.rehearse(
            tape_s, lambda share: pulse_schedule(stack.line_code, stack.line_bits(source.data[: int(share * size) + 1]))
        )
        schedule = pulse_schedule(stack.line_code, stack.line_bits(source.data))
    label = Label.of(source.name, source.data, stack.spec, FORMAT_VERSION, source.origin).to_text(tape_s, codec)
    with working("writing"), whole_folder(output, names, force) as folder:
        with (folder / "schedule.csv").open("w", encoding="ascii", newline="") as file:
            schedule.write_csv(file)
        (folder / "tape_tables.h").write_text(table_header(schedule), encoding="ascii", newline="\n")
        with (folder / "tape_tables.c").open("w", encoding="ascii", newline="\n") as file:
            file.writelines(table_source(schedule, label.splitlines()))
        for name in PLAYER_FILES:
            (folder / name).write_text(player_source(name), encoding="ascii", newline="\n")
    for note in source.notes:
        typer.echo(f"note: {note}", err=True)
    record = {
        "program": source.name,
        "codec_spec": stack.spec,
        "tape_s": tape_s,
        "pulses": len(schedule.rows),
        "table_bytes": table_bytes(schedule),
        "ticks_per_s": schedule.ticks_per_s,
        "folder": str(output),
        "files": list(names),
    }
    if as_json:
        import json

        typer.echo(json.dumps(record))
    else:
        typer.echo(
            f"{in_one_line(source.name)}: {tape_s:.1f} s of tape, {record['pulses']} stretches, "
            f"{record['table_bytes']} bytes of tables at {schedule.ticks_per_s} ticks a second, "
            f"in {in_one_line(output)}"
        )
