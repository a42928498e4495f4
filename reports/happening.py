"""What can happen to a load, and where bytes lie in memory and on the tape."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any


@dataclass(frozen=True, slots=True)
class Happening:
    """One thing that happened.

    Attributes:
        kind: clock_lost, clock_doubled, byte_lost, byte_doubled, steps_lost,
            steps_doubled, elsewhere, inverted, bits_reversed, held_low, held_high, no_relation,
            slip_in_byte, latches_kept, wrong_bits, stuck_bit, dead_track.
        what: one line for a person.
        address: of the first byte concerned.
        bit: 1 to 8, as it comes from the tape; None where the whole byte is meant.
        evidence: what speaks for it.
    """

    kind: str
    what: str
    address: int
    bit: int | None = None
    evidence: str = ""

    def __str__(self) -> str:
        return f"{self.what} ({self.evidence})" if self.evidence else self.what

    def to_json(self) -> dict[str, Any]:
        """Plain values."""
        return {
            "kind": self.kind,
            "what": self.what,
            "address": self.address,
            "bit": self.bit,
            "evidence": self.evidence,
        }


@dataclass(frozen=True, slots=True)
class Placement:
    """Where positions lie in memory and on the tape.

    Attributes:
        origin: address of the first byte compared.
        least_significant_first: order of the bits on the tape.
        split_tracks: even bits are on the left track, odd bits on the right.
        rests: steps without data stand between the bytes, so that a lost clock moves bits within their byte; None if
            nobody knows.
        tape_s: where on the tape a byte lies, counted from the first byte compared.
    """

    origin: int = 0
    least_significant_first: bool = False
    split_tracks: bool = False
    rests: bool | None = None
    tape_s: Callable[[int], float | None] = lambda place: None

    def moved(self, bytes_on: int) -> Placement:
        """The same for what begins ``bytes_on`` later."""
        return replace(self, origin=self.origin + bytes_on, tape_s=lambda byte: self.tape_s(byte + bytes_on))

    def address(self, byte: int) -> str:
        """A byte's address, and when it plays, in seconds from the start of the tape."""
        time_s = self.tape_s(byte)
        return f"{self.origin + byte:04X}" + ("" if time_s is None else f" ({time_s:.2f} s)")


def count(number: int, noun: str) -> str:
    """A number with its noun.

    >>> count(2, "byte")
    '2 bytes'
    """
    return f"{number} {noun}{'' if number == 1 else 's'}"
