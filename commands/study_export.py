"""``tapewright study export``: the rows of a study for other programs."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from .completion import studies


def export(
    study: Annotated[
        str, typer.Argument(metavar="S.toml", help="The study file, or its store.", autocompletion=studies)
    ],
    output: Annotated[
        Path | None, typer.Option("-o", "--output", metavar="FILE", help="A .csv or .json file. [default: stdout]")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="JSON on stdout instead of CSV.")] = False,
    force: Annotated[bool, typer.Option("--force", help="Overwrite the file if it exists.")] = False,
) -> None:
    """Export the rows of a study as CSV or JSON.

    The JSON holds the records that a comparison gives; the CSV one line for each, nested figures under dotted names.

    Example: tapewright study export bells.toml -o bells.csv
    """
    from ..benchmarks.rows import row_format, rows_as_csv, rows_as_json
    from ..benchmarks.stored_study import answer
    from ..contracts.errors import UsageError
    from ..files.writing import check_output, whole_file
    from .progress import working
    from .study_answer import store_beside, study_path

    if output is not None and as_json:
        raise UsageError("study export: --json prints on stdout; a file is told by its name, .csv or .json.")
    wanted = row_format(output) if output is not None else "json" if as_json else "csv"
    if output is not None:
        check_output(output, force)
    with working("reading the store"):
        rows = answer(store_beside(study_path(study)))
    text = rows_as_json(rows) if wanted == "json" else rows_as_csv(rows)
    if output is None:
        sys.stdout.write(text)
        return
    with whole_file(output, force) as part:
        part.write_text(text, encoding="utf-8", newline="")
