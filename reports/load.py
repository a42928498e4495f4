"""The report of one load: what was heard, whether it is right as far as anybody can know, and what to say of it."""

from __future__ import annotations

import zlib
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from ..contracts.decoded import Decoded, Event
from .differences import Difference, differences

MOST_LINES = 40
"""Events and differences shown to a person; the plain record holds all."""


@dataclass(frozen=True)
class Load:
    """One decoded recording and what it is held against.

    Attributes:
        decoded: what the receiver made of it.
        expected: the bytes that should have come out; None if nobody said.
        label_fits: whether the check on the recording's label agrees; None if it has no label.
    """

    decoded: Decoded
    expected: bytes | None = None
    label_fits: bool | None = None

    @cached_property
    def differences(self) -> tuple[Difference, ...]:
        """Runs of bytes that are not as expected; none if nothing is expected."""
        return () if self.expected is None else differences(self.decoded, self.expected)

    @property
    def faults(self) -> tuple[str, ...]:
        """Why this load cannot be trusted, one line each; none if nothing speaks against it."""
        heard = self.decoded
        found = []
        if heard.intact is False:
            found.append("its check fails")
        elif not heard.payload and not heard.intact:
            found.append("no byte was heard")
        is_known_equal = self.expected == heard.payload or (self.expected is None and self.label_fits is True)
        if heard.lost and not is_known_equal:
            found.append(f"{len(heard.lost)} of {len(heard.payload)} bytes are known lost")
        if self.label_fits is False:
            found.append("it does not fit the check on the recording's label")
        if self.expected is not None and heard.payload != self.expected:
            wrong = sum(max(len(run.expected), len(run.heard)) for run in self.differences)
            found.append(f"{wrong} of {len(self.expected)} bytes are not as expected")
        return tuple(found)

    @property
    def vouchers(self) -> tuple[str, ...]:
        """What says that the program is right, one line each; none if nobody knows."""
        if self.faults:
            return ()
        found = []
        if self.decoded.intact:
            found.append("its check holds")
        if self.label_fits:
            found.append("it fits the check on the recording's label")
        if self.expected is not None:
            found.append("it is as expected")
        return tuple(found)

    def lines(self) -> tuple[str, ...]:
        """Events and differences for a person, in the order of the tape."""
        events = sorted(self.decoded.events, key=lambda event: float("inf") if event.time_s is None else event.time_s)
        return (*_at_most(events), *_at_most(self.differences))

    def to_json(self) -> dict[str, Any]:
        """Plain values."""
        heard = self.decoded
        return {
            "payload_bytes": len(heard.payload),
            "crc32": f"{zlib.crc32(heard.payload):08X}",
            "intact": heard.intact,
            "lost": list(heard.lost),
            "label_fits": self.label_fits,
            "as_expected": None if self.expected is None else heard.payload == self.expected,
            "differences": [run.to_json() for run in self.differences],
            "events": [{"what": event.what, "time_s": event.time_s} for event in heard.events],
            "faults": list(self.faults),
        }


def _at_most(things: list[Event] | tuple[Difference, ...]) -> list[str]:
    shown = [str(thing) for thing in things[:MOST_LINES]]
    more = len(things) - MOST_LINES
    return [*shown, f"and {more} more (--json tells all)"] if more > 0 else shown
