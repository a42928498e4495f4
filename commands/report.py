"""``tapewright report``: an answer as one page that shows what lies behind its figures."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from .completion import channels_of_rows
from .options import Workers


def report(
    source: Annotated[
        Path, typer.Argument(help="A study or its store, or what compare or choose printed with --json.")
    ],
    output: Annotated[Path, typer.Option("--output", "-o", metavar="FILE.html", help="The page to write.")],
    program: Annotated[
        str | None,
        typer.Option(metavar="FILE", help="The program compared, if it is neither in the source nor the demo program."),
    ] = None,
    sweeps: Annotated[
        int, typer.Option(metavar="N", help="Tapes at each setting of each knob of a channel; 0: none.")
    ] = 10,
    over: Annotated[
        list[str] | None,
        typer.Option(
            metavar="SPEC",
            help="Channel whose knobs are turned; repeat, or 'all'. [default: the harshest]",
            autocompletion=channels_of_rows,
        ),
    ] = None,
    plot: Annotated[
        Path | None, typer.Option(metavar="FILE.png", help="Also draw those sweeps into a PNG or SVG file.")
    ] = None,
    workers: Workers = None,
    force: Annotated[bool, typer.Option("--force", help="Overwrite the page and the picture if they exist.")] = False,
    as_json: Annotated[
        bool, typer.Option("--json", help="Print what was found behind each row as JSON, less its sound.")
    ] = False,
) -> None:
    """Write an answer as one page that shows why.

    The page holds a comparison, a choice or a study, needs no network and prints. Some of the tapes are played again to
    find what the losses were, where the first lies on the tape, how it sounds, and how success moves with each figure
    of the channel.

    Example: tapewright report answer.json -o report.html --sweeps 20
    """
    import hashlib
    import json

    from ..benchmarks.answer_file import read_answer
    from ..benchmarks.evidence import can_be_swept, swept_channels
    from ..contracts.errors import UsageError, in_one_line
    from ..files.chime import NAME
    from ..files.programs import read_program
    from ..files.writing import check_output
    from ..reports.frontier_picture import picture_format
    from .progress import working
    from .report_writing import Reported, check_page, typed, write_report
    from .study_answer import store_beside, study_path

    if not sweeps and (plot is not None or over):
        raise UsageError(f"report: {'--plot draws' if plot else '--over is about'} the sweeps; leave out --sweeps 0.")
    if source.name.startswith("@") or source.suffix == ".toml":
        source = store_beside(study_path(str(source)))
    if plot is not None:
        picture_format(plot)
        check_output(plot, force, source)
    check_page(output, sweeps, force, source)
    with working("reading the answer"):
        answer = read_answer(source)
    swept = swept_channels(answer.rows, over or ())
    if plot is not None and not can_be_swept(answer.rows, swept):
        shown = ", ".join(in_one_line(name, 60) for name in swept) or "the source"
        raise UsageError(f"report: --plot draws the sweeps, and no figure of {shown} can be turned; leave it out.")
    programs = [*answer.programs, read_program(NAME).data]
    if program is not None:
        given = read_program(program).data
        if hashlib.sha256(given).hexdigest() not in {row["program_sha256"] for row in answer.rows}:
            raise UsageError(f"program '{in_one_line(program, 60)}' is not the one that the source is about.")
        programs.append(given)
    reported = Reported(answer.rows, tuple(programs), answer.verdict, typed())
    told, found = write_report(reported, output, sweeps, plot=plot, workers=workers, force=force, over=over or ())
    if as_json:
        silent = [{key: value for key, value in entry.items() if key != "sound"} for entry in found]
        typer.echo(json.dumps(silent, indent=2, allow_nan=False))
    typer.echo(told, err=as_json)
