"""Limits: what a format must keep within to be chosen. Every one may be left out."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any

from ..contracts.errors import UsageError, in_one_line
from ..contracts.line_code import NEEDS
from ..contracts.spec import format_value
from .statistics import tapes_needed

SIDES = {"C46": 23, "C60": 30, "C90": 45, "C120": 60}
"""Minutes a side of the cassettes that there are (common practice)."""

LONGEST_SIDE = "C120"

_NUMBERS = {
    "relays_at_most": (1, 100_000),
    "load_time_at_most_s": (0, 86_400),
    "success_at_least": (0.5, 1),
    "silent_at_most": (0, 1),
}
"""Least and greatest value of each limit that is a number."""


@dataclass(frozen=True)
class Limits:
    """What the person has and wants.

    Attributes:
        channel: spec of the deck and the tape.
        decoder: who decodes, one of ``line_code.NEEDS``; it decodes what needs it or less.
        relay_set, table: of a relay decoder: ready ones, or paths.
        same_deck: the deck that records also replays.
        relays_at_most: to be bought for a relay decoder; None for no limit.
        load_time_at_most_s: of the whole recording; None for no limit.
        success_at_least: share of whole loads that come out right, shown with 95 % confidence.
        silent_at_most: chance that a load goes wrong and nothing says so; None for no limit.
        side: cassette whose side must hold the recording, a key of ``SIDES``.

    Raises:
        UsageError: a value out of its range, or two limits that contradict each other.
    """

    channel: str = "worn"
    decoder: str = "computer"
    relay_set: str = "signal_12v"
    table: str = "clock_tower"
    same_deck: bool = False
    relays_at_most: int | None = None
    load_time_at_most_s: float | None = None
    success_at_least: float = 0.99
    silent_at_most: float | None = None
    side: str = LONGEST_SIDE

    def __post_init__(self) -> None:
        if self.decoder not in NEEDS:
            raise _unlike("decoder", ", ".join(NEEDS), self.decoder)
        if self.side not in SIDES:
            raise _unlike("side", ", ".join(SIDES), self.side)
        for name, (low, high) in _NUMBERS.items():
            value = getattr(self, name)
            if value is not None and not low <= value <= high:
                raise UsageError(f"limits: '{name}' must be {low:g} to {high:g}, not {value:g}.")
        if self.success_at_least == 1:
            raise UsageError(
                "limits: no number of tapes shows a success of 1; 'success_at_least' must be below it, such as 0.99 "
                f"({tapes_needed(0.99)} tapes) or 0.999 ({tapes_needed(0.999):,})."
            )
        if self.load_time_at_most_s == 0:
            raise UsageError("limits: 'load_time_at_most_s' must be above 0.")
        if self.relays_at_most is not None and self.decoder != "relays":
            raise UsageError(
                f"limits: 'relays_at_most' counts the relays of a relay decoder, and a {self.decoder} has none; "
                "set 'decoder' to relays, or leave it out."
            )

    @property
    def receiver(self) -> str:
        """Who listens, as a spec."""
        if self.decoder != "relays":
            return "sound"
        return f"relays:set={format_value(self.relay_set)},table={format_value(self.table)}"

    @property
    def side_s(self) -> float:
        """Length of the side in seconds."""
        return 60.0 * SIDES[self.side]

    def as_json(self) -> dict[str, Any]:
        """Plain values; a limit that was left out is None."""
        return {one.name: getattr(self, one.name) for one in fields(self)}


def limits(told: Mapping[str, Any], source: str = "limits") -> Limits:
    """The limits that ``told`` gives by name; None stands for one that was left out.

    >>> limits({"decoder": "relays", "relays_at_most": 120}).receiver
    'relays:set=signal_12v,table=clock_tower'

    Raises:
        UsageError: an unknown name (lists the right ones), a value of another kind, or as ``Limits``.
    """
    known = {one.name: one.type for one in fields(Limits)}
    given = {name: value for name, value in told.items() if value is not None}
    for name, value in given.items():
        if name not in known:
            shown = in_one_line(name, 40)
            raise UsageError(f"{source}: there is no limit '{shown}'. There are: {', '.join(known)}.")
        kind = known[name].removesuffix(" | None")
        if not _is(value, kind):
            wanted = {"str": "a word", "bool": "true or false", "int": "a whole number", "float": "a number"}[kind]
            raise UsageError(f"{source}: '{name}' must be {wanted}, not {in_one_line(repr(value), 40)}.")
    asked = Limits(**given)
    for name in ("relay_set", "table"):
        if name in given and asked.decoder != "relays":
            raise UsageError(
                f"{source}: '{name}' is of a relay decoder, and a {asked.decoder} has none; set 'decoder' to relays, "
                "or leave it out."
            )
    return asked


def _is(value: Any, kind: str) -> bool:
    if kind in ("bool", "str"):
        return type(value).__name__ == kind
    whole = isinstance(value, int) and not isinstance(value, bool)
    return whole or (kind == "float" and isinstance(value, float) and math.isfinite(value))


def _unlike(name: str, choices: str, value: str) -> UsageError:
    return UsageError(f"limits: '{name}' must be one of {choices}, not '{in_one_line(value, 40)}'.")
