"""``tapewright report``: an answer as one page that shows what lies behind its figures."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def report(
    source: Annotated[Path, typer.Argument(help="A study's store, or what compare or choose printed with --json.")],
    output: Annotated[Path, typer.Option("--output", "-o", metavar="FILE.html", help="The page to write.")],
    program: Annotated[
        str | None,
        typer.Option(metavar="FILE", help="The program compared, if it is neither in the source nor the demo program."),
    ] = None,
    sweeps: Annotated[
        int, typer.Option(metavar="N", help="Tapes at each setting of each knob of the harshest channel; 0: none.")
    ] = 10,
    plot: Annotated[
        Path | None, typer.Option(metavar="FILE.png", help="Also draw those sweeps into a PNG or SVG file.")
    ] = None,
    workers: Annotated[
        int | None, typer.Option(metavar="N", help="Threads; they never change a result. [default: all cores]")
    ] = None,
    force: Annotated[bool, typer.Option("--force", help="Overwrite the page and the picture if they exist.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print what the page shows, without its sound.")] = False,
) -> None:
    """Write the report of a comparison, a choice or a study: one page that needs no network and prints.

    Plays some of the tapes again to find what the losses were, where the first lies on the tape, how it sounds, and
    how success moves with each figure of the channel.

    Example: tapewright report answer.json -o report.html --sweeps 20
    """
    import shlex
    import sys

    from ..benchmarks.answer_file import read_answer
    from ..files.programs import read_program
    from ..files.writing import check_output
    from .report_writing import Reported, check_picture, write_report

    if plot is not None:
        check_picture(plot, force)
    check_output(output, force, source)
    answer = read_answer(source)
    programs = list(answer.programs)
    demo = any(row["program"] == "chime" for row in answer.rows)
    if program is not None or (demo and not programs):
        programs.append(read_program(program or "chime").data)
    reported = Reported(
        rows=answer.rows,
        programs=tuple(programs),
        verdict=answer.verdict,
        command="tapewright " + " ".join(shlex.quote(word) for word in sys.argv[1:]),
    )
    write_report(reported, output, sweeps, plot=plot, workers=workers, force=force, as_json=as_json)
