"""Fault: something that went wrong in a load, where on the tape, and which path of the timing it belongs to."""

from __future__ import annotations

from dataclasses import dataclass

from ...contracts.decoded import Event

PATHS = {
    "advance": "clock contact closed long enough for the next step relay",
    "arm": "clock contact open long enough for the arming relay",
    "bounce": "bounce of the clock contact too short to count by itself",
    "latch": "data and clock contact closed together long enough for the bit latch",
    "spill": "data contact of a neighbouring step open in good time",
    "settle": "a line steady before it is used",
    "hold": "a line steady until its use has ended",
    "handover": "one driver off a bus before the next is on",
    "line": "a line's relay has time to come in",
    "write": "write pulse long enough for a memory cell",
    "count": "count pulse long enough for the address counter, carry included",
    "clear": "holding circuit open long enough for the latches to fall",
    "copy": "copying pulse long enough for the second bank of latches",
    "mark": "an ordinary clock is no reset mark",
    "recover": "after a reset mark is told, time left for the first step relay",
}
"""What can be too slow: the same names in the timing's margins and in the faults of a load."""

DOUBLE_CLOCK, MISSED_CLOCK, MOVING_BIT, EARLY_WRITE, ADDRESS_OFF, NO_WRITE, NOT_CLEARED, NOT_COPIED = (
    "double clock",
    "missed clock",
    "bit latched while moving",
    "write before settle",
    "address off",
    "byte not written",
    "latches not cleared",
    "byte not copied",
)

ALARM, ALARM_MISSED, RING_OFF, DIFFERENCE = "alarm", "alarm missed", "ring off", "difference"
"""An alarm relay came in; it was fed and did not; the ring did not stand where the end of a tape leaves it; a verify
pass found what memory does not hold."""

SHOWN = (ALARM, RING_OFF, DIFFERENCE)
"""What the machine itself shows, by a lamp: it has noticed. The other faults only a log can tell."""


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault.

    Attributes:
        time_s: on the capture.
        what: what kind, for counting.
        text: one line for a person.
        path: a key of ``PATHS``; empty where the tape is to blame, not the machine's pace.
    """

    time_s: float
    what: str
    text: str
    path: str = ""

    def event(self) -> Event:
        """As an event of a decode."""
        return Event(f"{self.what}: {self.text}", self.time_s)
