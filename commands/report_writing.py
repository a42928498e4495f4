"""What ``report`` and ``compare --report`` share: evidence is gathered, the page is made and written."""

from __future__ import annotations

import shlex
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any


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


def typed() -> str:
    """The command that runs, as it may be typed again."""
    return shlex.join(["tapewright", *sys.argv[1:]])


def check_page(output: Path, sweep_tapes: int, force: bool, source: Path | None = None) -> None:
    """Refuse, before any long work, a page that could not be made or written.

    Raises:
        UsageError: a page that is not named .html.
        UsageError, TapewrightError: as ``check_output``, ``check_sweep_tapes`` and ``plotting_script``.
    """
    from ..benchmarks.evidence import check_sweep_tapes
    from ..contracts.errors import UsageError, in_one_line
    from ..files.writing import check_output
    from ..reports.report_page import plotting_script

    check_sweep_tapes(sweep_tapes)
    plotting_script()
    check_output(output, force, source)
    if output.suffix.lower() not in (".html", ".htm"):
        raise UsageError(f"page '{in_one_line(output, 120)}' must be named .html.")


def write_report(
    reported: Reported,
    output: Path,
    sweep_tapes: int,
    *,
    plot: Path | None = None,
    workers: int | None = None,
    force: bool = False,
    over: Sequence[str] = (),
) -> tuple[str, list[dict[str, Any]]]:
    """Gather what lies behind the rows, write the page to ``output`` and the sweeps to ``plot``.

    Args:
        over: the channels that are swept, as ``benchmarks.evidence.swept_channels`` takes them.

    Returns:
        what to tell, and what was gathered.
    """
    from .. import __version__
    from ..benchmarks.evidence import beside_each_other, evidence, harshest
    from ..contracts.errors import in_one_line
    from ..files.writing import whole_file
    from ..reports.report_page import report_page
    from .progress import watching

    rows = beside_each_other(reported.rows)
    with watching() as watch:
        found = evidence(rows, reported.programs, sweep_tapes, workers, watch, over)
    page = report_page(
        {
            "rows": rows,
            "evidence": found,
            "verdict": list(reported.verdict),
            "harshest": harshest(rows),
            "made": {"version": f"tapewright {__version__}", "command": reported.command},
        }
    )
    with whole_file(output, force) as part:
        part.write_text(page, encoding="utf-8", newline="\n")
    if plot is not None:
        from ..reports.frontier_picture import picture_format
        from ..reports.sweep_picture import save_sweeps

        with whole_file(plot, force) as part:
            save_sweeps(rows, found, part, picture_format(plot))
    told = [f"{in_one_line(output)}: {len(found)} rows, {len(page) / 1e6:.1f} MB, opens without a network"]
    for reason in dict.fromkeys(entry["unseen"] for entry in found if "unseen" in entry):
        count = sum(entry.get("unseen") == reason for entry in found)
        told.append(f"note: {count} of {len(found)} rows are not looked behind: {reason}")
    return "\n".join(told), found
