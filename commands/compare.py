"""``tapewright compare``: useful bytes per second against residual error, candidate by candidate."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from .completion import channels, codecs, receivers
from .options import Engine, RecordsAsJson, Scheduler, Workers


def compare(
    program: Annotated[
        str, typer.Option(metavar="FILE", help="Program file (binary, Intel HEX, S-record), or the demo program.")
    ] = "chime",
    codec: Annotated[
        list[str] | None,
        typer.Option(
            metavar="SPEC",
            help="A candidate; repeat for more. [default: the four ready stacks]",
            autocompletion=codecs,
        ),
    ] = None,
    receiver: Annotated[
        list[str] | None,
        typer.Option(metavar="SPEC", help="Who listens; repeat for more. [default: sound]", autocompletion=receivers),
    ] = None,
    channel: Annotated[
        list[str] | None,
        typer.Option(
            metavar="SPEC",
            help="What the tape goes through; repeat for more. [default: the four grades]",
            autocompletion=channels,
        ),
    ] = None,
    trials: Annotated[int | None, typer.Option(metavar="N", help="Tapes a row. [default: 40]")] = None,
    seed: Annotated[int | None, typer.Option(metavar="N", help="Same seed, same result. [default: 1]")] = None,
    workers: Workers = None,
    engine: Engine = "threads",
    scheduler: Scheduler = None,
    as_json: RecordsAsJson = False,
    plot: Annotated[
        Path | None, typer.Option(metavar="FILE.png", help="Also draw the frontier into a PNG or SVG file.")
    ] = None,
    report: Annotated[
        Path | None, typer.Option(metavar="FILE.html", help="Also write the report, one page that shows why.")
    ] = None,
    sweeps: Annotated[
        int | None,
        typer.Option(metavar="N", help="Tapes at each setting of each knob in the report; 0: none. [default: 10]"),
    ] = None,
    force: Annotated[bool, typer.Option("--force", help="Overwrite the picture and the page if they exist.")] = False,
    rare: Annotated[
        bool, typer.Option("--rare", help="Failures too rare for plain trials: dropouts drawn on purpose, 4000 tapes.")
    ] = False,
) -> None:
    """Compare tape formats over a simulated worn tape.

    Records the program with every codec, wears each tape by every channel, lets every receiver load it, and reports
    useful bytes per second against residual error. All candidates meet the same tapes.

    Example: tapewright compare --codec sturdy --codec plain-biphase --channel worn --trials 100
    """
    from ..benchmarks import study as defaults
    from ..benchmarks.engines import engine as engine_of
    from ..benchmarks.findings import findings
    from ..benchmarks.records import records
    from ..benchmarks.study import Study
    from ..benchmarks.trials import run
    from ..contracts.errors import UsageError, in_one_line
    from ..files.programs import read_program
    from ..files.writing import check_output, whole_file
    from ..reports.frontier_picture import picture_format, save_frontier
    from .progress import watching

    taken = read_program(program)
    for note in taken.notes:
        print(f"{in_one_line(taken.name)}: {note}", file=sys.stderr)
    asked = Study(
        program=taken.data,
        program_name=taken.name,
        codecs=tuple(codec or defaults.DEFAULT_CODECS),
        receivers=tuple(receiver or defaults.DEFAULT_RECEIVERS),
        channels=tuple(channel or defaults.DEFAULT_CHANNELS),
        trials=defaults.DEFAULT_TRIALS if trials is None else trials,
        seed=defaults.DEFAULT_SEED if seed is None else seed,
    )
    if sweeps is not None and report is None:
        raise UsageError("compare: --sweeps is about the page; name one with --report FILE.html, or leave it out.")
    if rare:
        from .rare import compare_rare

        compare_rare(asked, trials, workers, as_json, aside=bool(plot or report or scheduler or engine != "threads"))
        return
    if plot is not None:
        drawn_as = picture_format(plot)
        check_output(plot, force)
    if report is not None:
        from ..benchmarks.evidence import DEFAULT_SWEEP_TAPES
        from .report_writing import Reported, check_page, typed, write_report

        sweep_tapes = DEFAULT_SWEEP_TAPES if sweeps is None else sweeps
        check_page(report, sweep_tapes, force)
    with engine_of(engine, workers, scheduler) as player, watching() as watch:
        rows = records(asked, run(asked, watch=watch, engine=player))
    # The answer first: what took long is not lost to a picture that the disk does not take.
    if as_json:
        import json

        print(json.dumps([row.as_json() for row in rows], indent=2, allow_nan=False))
    else:
        from .table import print_answer

        print_answer(rows, findings(rows))
    sys.stdout.flush()
    if plot is not None:
        with whole_file(plot, force) as part:
            save_frontier([row.as_json() for row in rows], part, drawn_as)
    if report is not None:
        reported = Reported([row.as_json() for row in rows], (taken.data,), (), typed())
        told, _ = write_report(reported, report, sweep_tapes, workers=workers, force=force)
        print(told, file=sys.stderr)
