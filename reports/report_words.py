"""Figures of a row in words, the same wherever the report shows them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any


def percent(share: float, digits: int = 1) -> str:
    """A share.

    >>> percent(0.927)
    '92.7 %'
    """
    return f"{100 * share:.{digits}f} %"


def success(row: Mapping[str, Any]) -> str:
    """The share of tapes loaded right, with its interval."""
    estimate = row["load_success"]
    if estimate is None:
        return "-"
    return f"{percent(estimate['rate'])} ({100 * estimate['low']:.1f} to {100 * estimate['high']:.1f})"


def byte_error(row: Mapping[str, Any]) -> str:
    """The residual byte error rate with its interval, or the bound where nothing was seen."""
    estimate = row["residual_byte_error_rate"]
    if estimate is None:
        return "-"
    if estimate["rate"] == 0:
        return f"<= {scientific(estimate['high'])}"
    return f"{scientific(estimate['rate'])} ({scientific(estimate['low'])} to {scientific(estimate['high'])})"


def scientific(rate: float) -> str:
    """Two digits and a power of ten.

    >>> scientific(0.088)
    '8.8e-2'
    """
    digits, power = f"{rate:.1e}".split("e")
    return f"{digits}e{int(power)}"


def names(rows: Sequence[Mapping[str, Any]], key: str) -> list[str]:
    """The values of ``key`` in the order in which they first occur."""
    return list(dict.fromkeys(row[key] for row in rows))


def main_cause(entry: Mapping[str, Any]) -> str:
    """What most of the failing tapes that were taken apart were repaired by; a dash where none was."""
    anatomy = entry.get("anatomy")
    if anatomy is None or not anatomy["tapes"]:
        return "-"
    counts = {found["cause"]: found["alone"] + found["shared"] for found in anatomy["causes"]}
    cause = max(counts, key=lambda name: counts[name], default="")
    if not cause or not counts[cause]:
        return "several at once"
    return f"{cause} ({counts[cause]} of {len(anatomy['tapes'])})"
