"""The table and the records of the suite."""

from __future__ import annotations

import math
import os
import platform
from collections.abc import Sequence
from importlib.metadata import PackageNotFoundError, version
from typing import Any

from .row import Row

PACKAGES = ("tapewright", "numpy", "scipy", "numba", "reedsolo", "galois")

_HEADS = ("work", "rival", "cores", "ours", "rival's", "ratio (quartiles)", "goal", "met")
_RIGHT = {2, 3, 4, 5, 6}


def surroundings() -> dict[str, Any]:
    """What ran, on what, and what else was running there."""
    return {
        "python": platform.python_version(),
        **{package: _version(package) for package in PACKAGES},
        "system": platform.system(),
        "processor": platform.machine(),
        "cores": os.cpu_count(),
        "load_1_5_15_minutes": [round(one, 2) for one in load()],
    }


def load() -> tuple[float, ...]:
    """Processes that ran or waited to run, over 1, 5 and 15 minutes; not known everywhere."""
    return os.getloadavg() if hasattr(os, "getloadavg") else (math.nan,) * 3


def as_json(rows: Sequence[Row], before: dict[str, Any], after: dict[str, Any]) -> dict[str, Any]:
    """Plain data."""
    return {"rows": [row.as_json() for row in rows], "before": before, "load_after": after["load_1_5_15_minutes"]}


def table(rows: Sequence[Row]) -> str:
    """One line a row, its note below it."""
    cells = [_HEADS, *(_cells(row) for row in rows)]
    widths = [max(len(line[column]) for line in cells) for column in range(len(_HEADS))]
    lines = []
    for line, row in zip(cells, (None, *rows), strict=True):
        aligned = (
            cell.rjust(width) if column in _RIGHT else cell.ljust(width)
            for column, (cell, width) in enumerate(zip(line, widths, strict=True))
        )
        lines.append("  ".join(aligned).rstrip())
        if row is not None and row.note:
            lines.append(f"    {row.note}")
    return "\n".join(lines)


def _cells(row: Row) -> tuple[str, ...]:
    met = {True: "yes", False: "NO", None: "not measured"}[row.met]
    goal = f"{'>=' if row.at_least else '<='} {row.goal:g}"
    if row.ratio is None:
        return row.work, row.rival, str(row.cores), "", "", "", goal, met
    spread = "" if row.low is None or row.high is None else f" ({_figure(row.low)} to {_figure(row.high)})"
    ours, theirs = ("" if one is None else f"{_figure(one)} {row.unit}" for one in (row.ours, row.theirs))
    ratio = _figure(row.ratio)
    if not row.met and ratio == _figure(row.goal):
        ratio = f"{row.ratio:.5g}"  # just beside it
    return row.work, row.rival, str(row.cores), ours, theirs, ratio + spread, goal, met


def _figure(value: float) -> str:
    return f"{value:,.0f}" if value >= 100 else f"{value:.3g}"


def _version(package: str) -> str:
    try:
        return version(package)
    except PackageNotFoundError:
        return "not installed"
