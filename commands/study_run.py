"""``tapewright study run``: play what a study lacks, and keep it whatever happens."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from .completion import studies
from .options import Engine, RecordsAsJson, Scheduler, Workers


def run(
    study: Annotated[str, typer.Argument(metavar="@S.toml", help="The study file.", autocompletion=studies)],
    output: Annotated[
        Path | None, typer.Option("-o", "--output", metavar="FILE", help="The store. [default: S.study beside it]")
    ] = None,
    share: Annotated[
        str, typer.Option(metavar="K/N", help="Play only the K-th of N equal shares of the trials; merge them later.")
    ] = "1/1",
    until: Annotated[
        float | None,
        typer.Option(metavar="SUCCESS", help="Rows that few tapes do not tell from this load success get more."),
    ] = None,
    workers: Workers = None,
    engine: Engine = "threads",
    scheduler: Scheduler = None,
    as_json: RecordsAsJson = False,
) -> None:
    """Run a study, or go on with it.

    Results are kept in the store as they come. Interrupted or killed, the same call goes on where it was, and the
    answer is that of a run that nobody disturbed.

    With --until 0.99 other tapes, which are never shown, find the rows whose interval straddles 99 %; those are then
    shown with up to eight times the trials, their number fixed before the first plays.

    Example: tapewright study run @bells.toml
    """
    from ..benchmarks.engines import engine as engine_of
    from ..benchmarks.lacking import parse_share
    from ..benchmarks.new_store import create
    from ..benchmarks.store import Store
    from ..benchmarks.stored_study import answer, check_choice
    from ..benchmarks.stored_study import run as run_stored
    from ..benchmarks.study_file import read_study_file
    from ..contracts.errors import in_one_line
    from .progress import watching, working
    from .study_answer import print_rows, store_beside, study_path

    path = study_path(study)
    asked, ours = read_study_file(path), parse_share(share)
    check_choice(ours, until)
    for note in asked.notes:
        print(note, file=sys.stderr)
    kept_in = output or store_beside(path)
    with engine_of(engine, workers, scheduler) as player:
        if not kept_in.exists():
            create(kept_in)
        with Store(kept_in, writing=True) as store, watching() as watch:
            run_stored(store, asked, player, watch, ours, until)
    print(f"kept in {in_one_line(kept_in)}", file=sys.stderr)
    with working("reading the store"):
        rows = answer(kept_in)
    print_rows(rows, as_json)
