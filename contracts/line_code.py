"""A line code turns bits into two tracks of sound and back.

Law: ``demodulate(modulate(bits))`` starts with the same bits, for a clean signal; ``demodulate`` is total: any signal,
silence and noise included, gives soft bits in bounded time and memory and never an exception.
"""

from __future__ import annotations

from abc import abstractmethod
from dataclasses import dataclass
from typing import ClassVar

from .bits import Bits
from .plug_in import PlugIn
from .signal import Signal
from .soft_bits import SoftBits

NEEDS = ("relays", "microcontroller", "computer")
"""Who can decode, from the least to the most."""

LENGTHS = ("exact", "whole_bytes", "a few more")
"""How many bits of a clean tape are handed on; as many as were sent; those filled up to whole bytes; up to 7 more."""

TOLERANCES = ("polarity", "swapped_tracks")
"""What a format may claim to live with (both tracks inverted; left and right exchanged)."""


@dataclass(frozen=True)
class LineCode(PlugIn):
    """Base of every line code.

    Class attributes:
        needs: the least decoder, one of ``NEEDS``.
        hands_on: how many bits of a clean tape, one of ``LENGTHS``.
    """

    needs: ClassVar[str]
    hands_on: ClassVar[str] = "a few more"

    @property
    def tolerates(self) -> frozenset[str]:
        """Which of ``TOLERANCES`` the code itself lives with."""
        return frozenset()

    @abstractmethod
    def modulate(self, bits: Bits, sample_rate_hz: int = 44_100) -> Signal:
        """The recording of ``bits`` (uint8 0/1, shape (n,)), leader and tail included, within full scale."""

    @abstractmethod
    def demodulate(self, signal: Signal) -> SoftBits:
        """What was heard. Total: never raises for any ``Signal``."""

    @abstractmethod
    def duration_s(self, bits: int) -> float:
        """Length of the recording of that many bits, leader and tail included; exact to a frame."""

    def bearable_s(self, bits: int) -> float:
        """The longest dropout that takes no more than that many bits in a row, wherever it falls."""
        return 0.0
