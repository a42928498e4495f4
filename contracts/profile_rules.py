"""What a profile must hold: the rules by which any reader of ``profile.toml`` refuses figures that cannot be.

A profile is a TOML file whose line ``spec`` is a channel and whose table ``[profile]`` says its version. Beside the
spec stand the figures that it was made of, each with its interval, so that an edited or broken file is noticed
wherever a channel is named by it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import Any

from .errors import UsageError, in_one_line

PROFILE_VERSION = 1

_NOT_NEGATIVE = ("_percent", "_per_minute", "_share", "_ms", "_um", "_sigma")
_SIGNED = ("speed_error_percent",)
_NUMBERS = ("value", "low", "high")
_ROWS = ("places", "values", "lows", "highs")
_BEYOND = 1e300
"""No figure is as large; NaN, infinity and whole numbers that no float holds are not below it either."""

_LINE = ("frequency_hz", "peak_percent", "low", "high", "weighted_share")


def is_profile(told: Mapping[str, Any]) -> bool:
    """Whether a spec file says that it is a profile."""
    return "profile" in told


def check_profile(told: Mapping[str, Any], owner: str) -> None:
    """Refuse a profile that cannot be.

    Args:
        told: the file's content.
        owner: whose it is, for the message.

    Raises:
        UsageError: no profile, another version, stages without any figure, or a figure that is missing a part, not
            finite, outside its interval or impossible.
    """
    about = told.get("profile")
    if not isinstance(about, Mapping) or "version" not in about or not isinstance(told.get("spec"), str):
        raise UsageError(f'{owner} is no profile: it must hold a line spec = "..." and a table [profile].')
    if about["version"] != PROFILE_VERSION:
        raise UsageError(f"{owner}: version {in_one_line(about['version'], 20)} is not {PROFILE_VERSION}.")
    figures = _tables(told, "figures", owner)
    curves = _tables(told, "curves", owner)
    if told["spec"] not in ("", "wire") and not figures and not curves:
        raise UsageError(f"{owner}: its figures are missing: a spec with stages was made of some.")
    for name, record in figures.items():
        value, low, high = _parts(record, _NUMBERS, f"figure '{in_one_line(name, 60)}'", owner)
        _check_figure(name, value, low, high, owner)
    for name, record in curves.items():
        _check_curve(name, record, owner)
    for name, record in _tables(told, "histograms", owner).items():
        _check_histogram(name, record, owner)
    _tables(told, "missing", owner)
    lines = told.get("flutter_lines", [])
    if not isinstance(lines, list):
        raise UsageError(f"{owner}: 'flutter_lines' must be a list of tables.")
    for record in lines:
        for key, value in zip(_LINE, _parts(record, _LINE, "a flutter line", owner), strict=True):
            _check_number(f"{key} of a flutter line", value, owner)


def _tables(told: Mapping[str, Any], group: str, owner: str) -> Mapping[str, Any]:
    tables = told.get(group, {})
    if not isinstance(tables, Mapping):
        raise UsageError(f"{owner}: '{group}' must be a table.")
    return tables


def _parts(record: Any, keys: Sequence[str], what: str, owner: str) -> list[Any]:
    if not isinstance(record, Mapping):
        raise UsageError(f"{owner}: {what} must be a table.")
    missing = [key for key in keys if key not in record]
    if missing:
        raise UsageError(f"{owner}: {what} must have {', '.join(keys)}; {', '.join(missing)} is missing.")
    return [record[key] for key in keys]


def _check_number(name: str, number: Any, owner: str) -> None:
    if isinstance(number, bool) or not isinstance(number, int | float) or not abs(number) < _BEYOND:
        raise UsageError(f"{owner}: figure '{name}' must be finite numbers, not {in_one_line(number, 40)}.")


def _check_figure(name: str, value: Any, low: Any, high: Any, owner: str) -> None:
    shown = in_one_line(name, 60)
    for number in (value, low, high):
        _check_number(shown, number, owner)
    if not low <= value <= high:
        raise UsageError(f"{owner}: figure '{shown}' must lie in its interval {low:g} to {high:g}, not at {value:g}.")
    if name not in _SIGNED and name.endswith(_NOT_NEGATIVE) and low < 0:
        raise UsageError(f"{owner}: figure '{shown}' must be at least 0, not {low:g}.")
    if name in _SIGNED and low <= -100:
        raise UsageError(f"{owner}: figure '{shown}' must be above -100, not {low:g}: a tape that stands is not heard.")
    if name.endswith("_share") and high > 1:
        raise UsageError(f"{owner}: figure '{shown}' must be at most 1, not {high:g}.")


def _check_curve(name: str, record: Any, owner: str) -> None:
    what = f"curve '{in_one_line(name, 60)}'"
    rows = _parts(record, _ROWS, what, owner)
    if not all(isinstance(row, list) for row in rows) or len({len(row) for row in rows}) != 1:
        raise UsageError(f"{owner}: {what} must have as many values as places.")
    for place, value, low, high in zip(*rows, strict=True):
        _check_number(in_one_line(name, 60), place, owner)
        _check_figure(name, value, low, high, owner)


def _check_histogram(name: str, record: Any, owner: str) -> None:
    what = f"histogram '{in_one_line(name, 60)}'"
    edges, counts = _parts(record, ("edges", "counts"), what, owner)
    listed = isinstance(edges, list) and isinstance(counts, list)
    for number in (*edges, *counts) if listed else ():
        _check_number(in_one_line(name, 60), number, owner)
    rising = listed and all(a < b for a, b in pairwise(edges))
    if not rising or len(counts) != len(edges) - 1 or any(count < 0 for count in counts):
        raise UsageError(f"{owner}: {what} must have rising edges and counts.")
