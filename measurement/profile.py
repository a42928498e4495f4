"""A profile: everything that a capture says of a deck and a tape, as ``profile.toml``.

Its first line, ``spec``, is the channel that the figures make, so that ``--channel @profile.toml`` works wherever a
channel does. What was not measured stands under ``missing`` with the reason and is left out of the channel.
"""

from __future__ import annotations

import json
import math
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ..contracts import registry
from ..contracts.errors import UsageError, in_one_line
from .figures import Curve, Figure, Histogram, Missing
from .mechanics import FlutterLine

PROFILE_VERSION = 1
_MOST_BYTES = 1 << 16
"""What a spec may be read from (the registry's own limit)."""

_NOT_NEGATIVE = ("_percent", "_per_minute", "_share", "_ms", "_um", "_sigma")
_SIGNED = ("speed_error_percent",)


@dataclass(frozen=True, slots=True)
class Profile:
    """What was measured.

    Attributes:
        spec: the channel, canonical; empty if nothing of it was measured.
        provenance: where the figures come from, plain values.
        figures, missing, curves, histograms, lines: what was found and what was not.
        notes: what a person should know, one line each.
    """

    spec: str
    provenance: dict[str, str | int | float | bool]
    figures: tuple[Figure, ...] = ()
    missing: tuple[Missing, ...] = ()
    curves: tuple[Curve, ...] = ()
    histograms: tuple[Histogram, ...] = ()
    lines: tuple[FlutterLine, ...] = ()
    notes: tuple[str, ...] = ()

    def figure(self, name: str) -> Figure | None:
        """The figure called ``name``, None if it was not measured."""
        return next((one for one in self.figures if one.name == name), None)

    def curve(self, name: str) -> Curve | None:
        """The curve called ``name``, None if it was not measured."""
        return next((one for one in self.curves if one.name == name), None)

    def to_json(self) -> dict[str, Any]:
        """Plain values, as in the file."""
        told: dict[str, Any] = {"spec": self.spec, "profile": {"version": PROFILE_VERSION, **self.provenance}}
        told["profile"]["notes"] = list(self.notes)
        told["figures"] = {one.name: _plain(one) for one in self.figures}
        told["missing"] = {one.name: one.reason for one in self.missing}
        told["curves"] = {one.name: _plain(one) for one in self.curves}
        told["histograms"] = {one.name: _plain(one) for one in self.histograms}
        told["flutter_lines"] = [_plain(one) for one in self.lines]
        return told

    def to_toml(self) -> str:
        """The text of ``profile.toml``."""
        return "\n".join(_toml(self.to_json())) + "\n"


def _plain(record: Any) -> dict[str, Any]:
    fields = (key for key in record.__slots__ if key != "name")
    told = {key: getattr(record, key) for key in fields}
    return {key: list(value) if isinstance(value, tuple) else value for key, value in told.items()}


def _toml(told: dict[str, Any]) -> Iterator[str]:
    yield f"spec = {_value(told['spec'])}"
    for title in ("profile", "missing"):
        yield f"\n[{title}]"
        yield from (f"{key} = {_value(value)}" for key, value in told[title].items())
    for group in ("figures", "curves", "histograms"):
        for name, record in told[group].items():
            yield f"\n[{group}.{name}]"
            yield from (f"{key} = {_value(value)}" for key, value in record.items())
    for record in told["flutter_lines"]:
        yield "\n[[flutter_lines]]"
        yield from (f"{key} = {_value(value)}" for key, value in record.items())


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int):
        return str(value)
    if isinstance(value, float):
        return repr(float(f"{value:.6g}"))
    if isinstance(value, list):
        return f"[{', '.join(_value(one) for one in value)}]"
    return json.dumps(in_one_line(value, 20_000), ensure_ascii=False).replace("\x7f", "?")


def read_profile(path: Path) -> Profile:
    """The profile at ``path``, checked.

    Raises:
        UsageError: no file, no TOML, no profile, another version, a figure that is missing a part, not finite,
            outside its interval or impossible, or a channel that cannot be built.
    """
    owner = f"profile '{in_one_line(path, 120)}'"
    try:
        with path.open("rb") as file:
            content = file.read(_MOST_BYTES + 1)
    except (OSError, ValueError) as error:
        raise UsageError(f"{owner}: {getattr(error, 'strerror', None) or in_one_line(error)}.") from None
    if len(content) > _MOST_BYTES:
        raise UsageError(f"{owner} must be at most {_MOST_BYTES} bytes.")
    try:
        told = tomllib.loads(content.decode("utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, RecursionError) as error:
        raise UsageError(f"{owner} is not TOML: {in_one_line(error)}.") from None
    try:
        return _checked(told, owner)
    except (KeyError, TypeError, AttributeError) as error:
        raise UsageError(f"{owner}: a part is missing or of another kind: {in_one_line(error)}.") from None


def _checked(told: dict[str, Any], owner: str) -> Profile:
    about = told.get("profile")
    if not isinstance(about, dict) or "version" not in about or not isinstance(told.get("spec"), str):
        raise UsageError(f'{owner} is no profile: it must hold a line spec = "..." and a table [profile].')
    if about["version"] != PROFILE_VERSION:
        raise UsageError(f"{owner}: version {in_one_line(about['version'], 20)} is not {PROFILE_VERSION}.")
    try:
        registry.channel(told["spec"] or "wire")
    except UsageError as error:
        raise UsageError(f"{owner}: its spec makes no channel: {error}") from None
    figures = tuple(Figure(name, **record) for name, record in told.get("figures", {}).items())
    curves = tuple(_curve(name, record) for name, record in told.get("curves", {}).items())
    histograms = tuple(
        Histogram(name, tuple(record["edges"]), tuple(record["counts"]))
        for name, record in told.get("histograms", {}).items()
    )
    for figure in figures:
        _check_figure(figure.name, figure.value, figure.low, figure.high, owner)
    for curve in curves:
        lengths = {len(row) for row in (curve.places, curve.values, curve.lows, curve.highs)}
        if len(lengths) != 1:
            raise UsageError(f"{owner}: curve '{in_one_line(curve.name, 60)}' must have as many values as places.")
        for value, low, high in zip(curve.values, curve.lows, curve.highs, strict=True):
            _check_figure(curve.name, value, low, high, owner)
    for one in histograms:
        rising = all(a < b for a, b in zip(one.edges, one.edges[1:], strict=False))
        if len(one.counts) != len(one.edges) - 1 or not rising or any(count < 0 for count in one.counts):
            raise UsageError(f"{owner}: histogram '{in_one_line(one.name, 60)}' must have rising edges and counts.")
    return Profile(
        spec=told["spec"],
        provenance={key: value for key, value in about.items() if key not in {"version", "notes"}},
        figures=figures,
        missing=tuple(Missing(name, str(reason)) for name, reason in told.get("missing", {}).items()),
        curves=curves,
        histograms=histograms,
        lines=tuple(FlutterLine(**record) for record in told.get("flutter_lines", ())),
        notes=tuple(str(note) for note in about.get("notes", ())),
    )


def _curve(name: str, record: dict[str, Any]) -> Curve:
    places, values, lows, highs = (tuple(record[key]) for key in ("places", "values", "lows", "highs"))
    return Curve(name, str(record["at"]), places, values, lows, highs, str(record.get("method", "")))


def _check_figure(name: str, value: float, low: float, high: float, owner: str) -> None:
    shown = in_one_line(name, 60)
    for number in (value, low, high):
        if isinstance(number, bool) or not isinstance(number, int | float) or not math.isfinite(number):
            raise UsageError(f"{owner}: figure '{shown}' must be finite numbers, not {in_one_line(number, 40)}.")
    if not low <= value <= high:
        raise UsageError(f"{owner}: figure '{shown}' must lie in its interval {low:g} to {high:g}, not at {value:g}.")
    if name not in _SIGNED and name.endswith(_NOT_NEGATIVE) and low < 0:
        raise UsageError(f"{owner}: figure '{shown}' must be at least 0, not {low:g}.")
    if name.endswith("_share") and high > 1:
        raise UsageError(f"{owner}: figure '{shown}' must be at most 1, not {high:g}.")
