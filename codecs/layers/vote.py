"""`vote`: each byte three times, and two of three decide.

By contacts alone: three banks of latches, and for each bit one changeover of the first latch that picks between "one
of the other two" and "both of them". Where the sound is heard with its confidence, the three are added instead, which
is the same for bits that are all equally sure.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from ...contracts.bits import Bits
from ...contracts.decoded import Event
from ...contracts.layer import Heard, Layer
from ...contracts.parameters import parameter
from ...contracts.relay_cost import RelayCost
from ...contracts.soft_bits import SoftBits
from .passes import added

COPIES = 3


@dataclass(frozen=True)
class Vote(Layer):
    """Two of three, by repetition of each byte."""

    name = "vote"
    summary = "Each byte three times in a row, two of three decide: contacts alone can do it."
    needs = "relays"
    latch_poles: ClassVar[int] = 1
    """Five contacts vote where three latches show a bit already: one more on two of them."""

    word_bits: int = parameter(8, "Bits that are repeated together: 9 with a parity bit in each.", low=1, high=64)

    def coded_bits(self, data_bits: int) -> int:
        return -(-data_bits // self.word_bits) * COPIES * self.word_bits

    def encode(self, bits: Bits) -> Bits:
        words = np.concatenate([bits, np.zeros(-bits.size % self.word_bits, np.uint8)]).reshape(-1, self.word_bits)
        return np.repeat(words, COPIES, axis=0).ravel()

    def decode(self, passes: tuple[SoftBits, ...]) -> Heard:
        """What the three copies together say; an event where they differ."""
        read = [self._voted(heard) for heard in passes]
        return Heard(
            tuple(heard for heard, _ in read), None, tuple(event for _, differing in read for event in differing)
        )

    def _voted(self, heard: SoftBits) -> tuple[SoftBits, tuple[Event, ...]]:
        shape = (len(heard) // (COPIES * self.word_bits), COPIES, self.word_bits)
        whole = slice(shape[0] * COPIES * self.word_bits)
        values, times_s = heard.values[whole].reshape(shape), heard.times_s[whole].reshape(shape)
        together = added([values[:, copy] for copy in range(COPIES)])
        said = values > 0
        differing = np.flatnonzero((said != said[:, :1]).any(axis=(1, 2)))
        events = tuple(Event(f"vote: the copies of byte {n} differ", float(times_s[n, 0, 0])) for n in differing)
        return SoftBits(together.ravel(), times_s.mean(axis=1).ravel()), events

    def bits_in_group(self, bits: int) -> int:
        """See ``RelayLayer``."""
        return COPIES * bits

    def relay_cost(self) -> RelayCost:
        """See ``RelayLayer``. A bit's three latches need five contacts to vote where three show it already."""
        return RelayCost(
            relays=0,
            poles=2 * self.word_bits,
            catches=("(and mends) any wrong bits of one of the three copies of a byte",),
            misses=("the same bit wrong in two copies; bytes lost or doubled",),
        )
