"""What came out of a decode: always returned, never raised."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from .play import Play


@dataclass(frozen=True, slots=True)
class Event:
    """Something noticed while decoding.

    Attributes:
        what: one line for a person.
        time_s: where on the capture, in seconds; None where it has no place.
    """

    what: str
    time_s: float | None = None

    def __str__(self) -> str:
        return self.what if self.time_s is None else f"{self.time_s:9.3f} s  {self.what}"


@dataclass(frozen=True, slots=True)
class Decoded:
    """The payload as far as it was heard.

    Attributes:
        payload: the bytes; a lost byte stands as its best guess.
        intact: the verdict of the outermost layer that checks; None if none does.
        lost: positions in ``payload`` of bytes that hold a bit which is not known.
        events: what was noticed, with tape times.
        times_s: where on the capture each byte of ``payload`` lies, in seconds; empty where the receiver cannot say.
        plays: what was heard of each play, before any layer looked at it; empty where the receiver cannot say.
    """

    payload: bytes
    intact: bool | None
    lost: tuple[int, ...] = ()
    events: tuple[Event, ...] = ()
    times_s: tuple[float, ...] = ()
    plays: tuple[Play, ...] = ()
