"""Where a decoded program differs from the expected one, and what was noticed on the tape there."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from dataclasses import dataclass
from itertools import groupby
from operator import itemgetter
from typing import Any

from ..contracts.decoded import Decoded, Event

NEIGHBOURHOOD_S = 0.25
"""An event this near to a byte is told with it: a dropout or a slip shows some bits before or after its place."""


@dataclass(frozen=True, slots=True)
class Difference:
    """One run of bytes that are not as expected.

    Attributes:
        start: position of the first byte.
        expected, heard: the bytes; one of them is shorter where the program ends early or late.
        lost: how many of them the decoder knew to be lost.
        time_s: (from, to) on the capture, in seconds; None where the receiver cannot say.
        events: what was noticed there.
    """

    start: int
    expected: bytes
    heard: bytes
    lost: int
    time_s: tuple[float, float] | None
    events: tuple[Event, ...]

    def __str__(self) -> str:
        last = self.start + max(len(self.expected), len(self.heard)) - 1
        place = f"byte {self.start:04X}" if last == self.start else f"bytes {self.start:04X} to {last:04X}"
        when = f" at {self.time_s[0]:.3f} s" if self.time_s else ""
        known = f", {self.lost} known lost" if self.lost else ""
        what = "".join(f"; {event}" for event in (" ".join(str(event).split()) for event in self.events[:3]))
        more = f"; and {len(self.events) - 3} more" if len(self.events) > 3 else ""
        return f"{place}{when}: expected {_shown(self.expected)}, heard {_shown(self.heard)}{known}{what}{more}"

    def to_json(self) -> dict[str, Any]:
        """Plain values."""
        return {
            "start": self.start,
            "expected": self.expected.hex(),
            "heard": self.heard.hex(),
            "lost": self.lost,
            "time_s": list(self.time_s) if self.time_s else None,
            "events": [{"what": event.what, "time_s": event.time_s} for event in self.events],
        }


def differences(decoded: Decoded, expected: bytes) -> tuple[Difference, ...]:
    """The runs of bytes in which ``decoded.payload`` is not ``expected``, a missing or surplus end included.

    >>> [str(found) for found in differences(Decoded(b"belt", None), b"bells")]
    ['bytes 0003 to 0004: expected 6c 73, heard 74']
    """
    heard = decoded.payload
    longest = max(len(heard), len(expected))
    wrong = (place for place in range(longest) if heard[place : place + 1] != expected[place : place + 1])
    lost = set(decoded.lost)
    placed = sorted(((event.time_s, event) for event in decoded.events if event.time_s is not None), key=itemgetter(0))
    moments = [moment for moment, _ in placed]
    found = []
    for _, group in groupby(enumerate(wrong), lambda pair: pair[1] - pair[0]):
        places = [place for _, place in group]
        start, end = places[0], places[-1] + 1
        times = decoded.times_s[start:end]
        time_s = (min(times), max(times)) if times else None
        near: tuple[Event, ...] = ()
        if time_s is not None:
            first = bisect_left(moments, time_s[0] - NEIGHBOURHOOD_S)
            near = tuple(event for _, event in placed[first : bisect_right(moments, time_s[1] + NEIGHBOURHOOD_S)])
        found.append(
            Difference(
                start,
                expected[start:end],
                heard[start:end],
                sum(place in lost for place in places),
                time_s,
                near,
            )
        )
    return tuple(found)


def _shown(data: bytes) -> str:
    return (data[:8].hex(" ") + (" ..." if len(data) > 8 else "")) or "nothing"
