"""What ``report`` and ``compare --report`` share: evidence is gathered, the page is made and written."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import typer


@dataclass(frozen=True)
class Reported:
    """What a report is about.

    Attributes:
        rows: as ``Record.as_json`` writes them.
        programs: the payloads that are at hand.
        verdict: sentences of a choice.
        command: what was typed.
    """

    rows: Sequence[Mapping[str, Any]]
    programs: tuple[bytes, ...]
    verdict: tuple[str, ...]
    command: str


def check_picture(plot: Path, force: bool) -> None:
    """Refuse a picture that could not be made or written.

    Raises:
        UsageError, TapewrightError: as ``picture_format`` and ``check_output``.
    """
    from ..files.writing import check_output
    from ..reports.frontier_picture import picture_format

    picture_format(plot)
    check_output(plot, force)


def write_report(
    reported: Reported,
    output: Path,
    sweep_tapes: int,
    *,
    plot: Path | None = None,
    workers: int | None = None,
    force: bool = False,
    as_json: bool = False,
) -> None:
    """Gather what lies behind the rows and write the page to ``output``."""
    import json

    from .. import __version__
    from ..benchmarks.evidence import evidence, harshest
    from ..contracts.errors import in_one_line
    from ..files.writing import whole_file
    from ..reports.report_page import plotting_script, report_page
    from .progress import watching

    plotting_script()  # its absence is said before the long work, not after
    with watching() as watch:
        found = evidence(reported.rows, reported.programs, sweep_tapes, workers, watch)
    record: dict[str, Any] = {
        "rows": list(reported.rows),
        "evidence": found,
        "verdict": list(reported.verdict),
        "harshest": harshest(reported.rows),
        "made": {"version": f"tapewright {__version__}", "command": reported.command},
    }
    page = report_page(record)
    with whole_file(output, force) as part:
        part.write_text(page, encoding="utf-8", newline="\n")
    if plot is not None:
        from ..reports.frontier_picture import picture_format
        from ..reports.sweep_picture import save_sweeps

        with whole_file(plot, force) as part:
            save_sweeps(record["rows"], found, part, picture_format(plot))
    if as_json:
        silent = [{key: value for key, value in entry.items() if key != "sound"} for entry in found]
        typer.echo(json.dumps({**record, "evidence": silent}, indent=2, allow_nan=False))
        return
    for reason in dict.fromkeys(entry["unseen"] for entry in found if "unseen" in entry):
        count = sum(entry.get("unseen") == reason for entry in found)
        typer.echo(f"note: {count} of {len(found)} rows are not looked behind: {reason}", err=True)
    typer.echo(f"{in_one_line(output)}: {len(found)} rows, {len(page) / 1e6:.1f} MB, opens without a network")
