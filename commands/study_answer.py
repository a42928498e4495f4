"""What the commands of a study share: where its store is, and its rows on stdout."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from ..benchmarks.records import Record


def study_path(text: str) -> Path:
    """The file that is meant, with or without the @ that stands before files elsewhere.

    Raises:
        UsageError: no name is left.
    """
    from ..contracts.errors import UsageError

    path = Path(text.removeprefix("@"))
    if not path.name:
        raise UsageError("study: the name of a file is needed, such as bells.toml.")
    return path


def store_beside(path: Path) -> Path:
    """The store of a study file; a store is its own, whatever it is called."""
    from ..benchmarks.sqlite_file import is_one
    from ..benchmarks.store import SUFFIX

    return path if path.suffix == SUFFIX or is_one(path) else path.with_suffix(SUFFIX)


def print_rows(rows: Sequence[Record], as_json: bool) -> None:
    """Rows as a comparison prints them, one table for each program and seed."""
    if as_json:
        import json

        print(json.dumps([row.as_json() for row in rows], indent=2, allow_nan=False))
        return
    from ..benchmarks.findings import findings
    from ..contracts.errors import in_one_line
    from .table import print_answer

    answers = [list(ours) for _, ours in groupby(rows, key=lambda row: id(row.study))]
    for place, ours in enumerate(answers):
        if len(answers) > 1:
            print(f"{chr(10) if place else ''}{in_one_line(ours[0].study.program_name)}, seed {ours[0].study.seed}:")
        print_answer(ours, (*_not_as_asked(ours), *findings(ours)))


def _not_as_asked(rows: Sequence[Record]) -> Iterator[str]:
    from ..benchmarks.records import ALL_TRIALS

    stops = [row.stop for row in rows if row.task.refusal is None and not row.stop.startswith(ALL_TRIALS)]
    if stops:
        yield (f"{len(stops)} of {len(rows)} rows do not show as many trials as were asked for; the first: {stops[0]}.")
