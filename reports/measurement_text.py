"""A measured profile as lines of text."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from textwrap import wrap
from typing import Any

from ..contracts.errors import in_one_line

UNITS = (
    ("_percent", "%"),
    ("_per_minute", "a minute"),
    ("_arcmin", "arcmin"),
    ("_share", ""),
    ("_sigma", ""),
    ("_db", "dB"),
    ("_us", "us"),
    ("_um", "um"),
    ("_ms", "ms"),
    ("_hz", "Hz"),
)
"""Ends of names and the unit they stand for."""

_SPOKEN = (
    ("three_percent_level", "3 % level"),
    ("3_percent", "3 %"),
    ("10_khz", "10 kHz"),
    ("noise_a_", "noise, A-weighted, "),
)

_NAME, _VALUE, _WIDTH, _POINTS = 46, 24, 100, 6


def lines(record: Mapping[str, Any]) -> Iterator[str]:
    """The lines of a profile's plain values: figures, what makes the flutter, what is missing.

    Args:
        record: as ``profile.toml`` has it.
    """
    for name, figure in _tracks_together(record["figures"]):
        title, unit = _title(name)
        digits = _digits(figure["high"] - figure["low"])
        value, low, high = (f"{figure[key]:.{digits}f}" for key in ("value", "low", "high"))
        shown = f"{value} {unit}".rstrip()
        yield f"{title:<{_NAME}} {shown:<{_VALUE - 8}} {low} to {high}"
    for name, curve in record["curves"].items():
        if name.startswith("response_"):
            yield f"{_title(name)[0]}, dB re 315 Hz"
            points = zip(curve["places"], curve["values"], strict=True)
            heard = [f"{place:g} Hz {value:+.1f}" for place, value in points]
            yield from (f"  {',  '.join(heard[i : i + _POINTS])}" for i in range(0, len(heard), _POINTS))
    for line in record["flutter_lines"]:
        share = f"{100 * line['weighted_share']:.0f} % of the weighted power"
        yield f"  wavers at {line['frequency_hz']:.2f} Hz by {line['peak_percent']:.3f} % ({share}): {line['cause']}"
    by_reason: dict[str, list[str]] = {}
    for name, reason in record["missing"].items():
        by_reason.setdefault(in_one_line(reason), []).append(_title(name)[0])
    for reason, titles in by_reason.items():
        yield from wrap(f"not measured, because {reason}:", _WIDTH, subsequent_indent="  ")
        yield from wrap(", ".join(titles), _WIDTH, initial_indent="  ", subsequent_indent="  ")


def _tracks_together(figures: Mapping[str, Any]) -> list[tuple[str, Any]]:
    """Figures in their order, but the same figure of both tracks one below the other.

    >>> [name for name, _ in _tracks_together({"hum_left_db": 1, "skew_us": 2, "hum_right_db": 3})]
    ['hum_left_db', 'hum_right_db', 'skew_us']
    """
    kinds = [name.replace("_left_", "_").replace("_right_", "_") for name in figures]
    return sorted(figures.items(), key=lambda item: kinds.index(kinds[list(figures).index(item[0])]))


def _title(name: str) -> tuple[str, str]:
    """Words for a person and the unit.

    >>> _title("hum_left_db")
    ('hum left', 'dB')
    """
    for ending, unit in UNITS:
        if name.endswith(ending):
            kept = "" if unit in {"dB", "us", "um", "ms", "Hz", "%", "arcmin", "a minute"} else ending
            return _words(name.removesuffix(ending) + kept), unit
    return _words(name), ""


def _words(name: str) -> str:
    for written, spoken in _SPOKEN:
        name = name.replace(written, spoken)
    return name.replace("_", " ")


def _digits(width: float) -> int:
    """Decimals that show two digits of an interval's width."""
    if not width > 0 or not math.isfinite(width):
        return 3
    return min(6, max(0, 1 - math.floor(math.log10(width))))
