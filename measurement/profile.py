"""A profile: everything that a capture says of a deck and a tape, as ``profile.toml``.

Its first line, ``spec``, is the channel that the figures make, so that ``--channel @profile.toml`` works wherever a
channel does. What was not measured stands under ``missing`` with the reason and is left out of the channel.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ..contracts import registry
from ..contracts.errors import UsageError, in_one_line
from ..contracts.named_file import toml_in
from ..contracts.profile_rules import PROFILE_VERSION, check_profile
from .figures import Curve, Figure, Histogram, Missing
from .mechanics import FlutterLine

_MOST_BYTES = 1 << 16
"""What a spec may be read from (the registry's own limit)."""


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
    told = toml_in(path, "profile", _MOST_BYTES)
    try:
        return _checked(told, owner)
    except (KeyError, TypeError, AttributeError) as error:
        raise UsageError(f"{owner}: a part is missing or of another kind: {in_one_line(error)}.") from None


def _checked(told: dict[str, Any], owner: str) -> Profile:
    check_profile(told, owner)
    try:
        registry.channel(told["spec"] or "wire")
    except UsageError as error:
        raise UsageError(f"{owner}: its spec makes no channel: {error}") from None
    about = told["profile"]
    return Profile(
        spec=told["spec"],
        provenance={key: value for key, value in about.items() if key not in {"version", "notes"}},
        figures=tuple(Figure(name, **record) for name, record in told.get("figures", {}).items()),
        missing=tuple(Missing(name, str(reason)) for name, reason in told.get("missing", {}).items()),
        curves=tuple(_curve(name, record) for name, record in told.get("curves", {}).items()),
        histograms=tuple(
            Histogram(name, tuple(record["edges"]), tuple(record["counts"]))
            for name, record in told.get("histograms", {}).items()
        ),
        lines=tuple(FlutterLine(**record) for record in told.get("flutter_lines", ())),
        notes=tuple(str(note) for note in about.get("notes", ())),
    )


def _curve(name: str, record: dict[str, Any]) -> Curve:
    places, values, lows, highs = (tuple(record[key]) for key in ("places", "values", "lows", "highs"))
    return Curve(name, str(record["at"]), places, values, lows, highs, str(record.get("method", "")))
