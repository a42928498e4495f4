"""``tapewright sheet``: the page from which a relay machine for a format can be built."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from .completion import channels, codecs, receivers

SHEET = "sheet.html"


def sheet(
    codec: Annotated[
        str, typer.Option(metavar="SPEC", help="Spec or preset that relays can decode.", autocompletion=codecs)
    ],
    receiver: Annotated[
        str,
        typer.Option(
            metavar="SPEC", help="The relay machine, such as relays:set=signal_12v.", autocompletion=receivers
        ),
    ],
    channel: Annotated[
        str,
        typer.Option(
            metavar="SPEC", help="What the tape goes through, for the expected success.", autocompletion=channels
        ),
    ],
    output: Annotated[Path, typer.Option("--output", "-o", metavar="FOLDER", help="Folder to write sheet.html into.")],
    program: Annotated[str, typer.Option(metavar="FILE", help="Program file, or the demo program.")] = "chime",
    trials: Annotated[int, typer.Option(metavar="N", help="Tapes that are played for the expected success.")] = 40,
    seed: Annotated[int, typer.Option(metavar="N", help="Same seed, same sheet.")] = 1,
    force: Annotated[bool, typer.Option("--force", help="Overwrite a sheet that exists.")] = False,
    as_json: Annotated[
        bool, typer.Option("--json", help="Print what the sheet shows as JSON instead of a summary.")
    ] = False,
) -> None:
    """Write the build sheet of a relay machine.

    One page that needs no network and prints well: tones, burst and step times with margins, the step table, a timing
    diagram to scale, parts, front-end values, the line-up procedure, the expected load time and success, and what to
    take care of.

    Exits with 3 if the format's step does not close or the table has hazards; the sheet is written and says so.

    Example: tapewright sheet --codec plain-clocked --receiver relays:set=signal_12v --channel new --trials 9 -o machine
    """
    from ..benchmarks.study import Study
    from ..benchmarks.trials import run
    from ..contracts.errors import TargetNotMet, in_one_line
    from ..files.folder_writing import check_folder, whole_folder
    from ..files.programs import read_program
    from ..reports.build_sheet import build_sheet
    from ..reports.build_work import success
    from ..reports.timing_text import verdict
    from .progress import watching, working
    from .sheet_record import check_relays, sheet_record

    check_folder(output, (SHEET,), force)
    source = read_program(program)
    for note in source.notes:
        typer.echo(f"note: {note}", err=True)
    study = Study(source.data, source.name, (codec,), (receiver,), (channel,), trials, seed)
    (task,) = study.tasks()
    check_relays(task)
    with watching() as watch:
        (played,) = run(study, watch=watch)
    with working("working out the machine"):
        record = sheet_record(study, task, played.tally)
    build, load, tape_s = record["build"], record["load"], record["tape_s"]
    with whole_folder(output, (SHEET,), force) as folder:
        (folder / SHEET).write_text(build_sheet(record), encoding="utf-8", newline="\n")
    if as_json:
        import json

        typer.echo(json.dumps({**record, "sheet": str(output / SHEET)}, indent=2, allow_nan=False))
    else:
        timed = build["timing"]
        typer.echo(
            f"{in_one_line(source.name)}: {build['parts']['relay_count']} relays, {tape_s:.1f} s a load, "
            f"{success(load)} load right over {in_one_line(channel, 60)}, in {in_one_line(output / SHEET)}"
        )
        typer.echo(verdict(timed))
    if not build["timing"]["closes"] or build["timing"]["hazards"]:
        raise TargetNotMet(verdict(build["timing"]))
