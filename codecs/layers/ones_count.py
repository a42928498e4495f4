"""`ones_count`: how many ones there are, after each block or after all.

Sent is the complement of the count, which makes it the code of Berger (1961, "A note on error detection codes for
asymmetric channels"): errors that all go one way, as a dropout's do that turns ones to zeros, raise what the machine
must see and can only lower what is sent, so none of them passes. Nor does silence: it counts no ones and sends zeros,
where all ones would be right. Counting is modulo 2^count_bits: a block of more ones than that loses the guarantee.

It condemns and never vouches: as many zeros turned to ones as ones to zeros pass it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from ...contracts.bits import Bits
from ...contracts.decoded import Event
from ...contracts.layer import Heard, Layer
from ...contracts.parameters import parameter
from ...contracts.relay_cost import RelayCost
from ...contracts.soft_bits import SoftBits
from .passes import readings, summed

COUNTER_POLES = 4
"""Of each of the two relays of a bit's two-phase toggle (common practice)."""

LENGTH_POLES = 16
"""Contacts of address relays against hand switches: enough for any program that 16 address bits can hold."""


@dataclass(frozen=True)
class OnesCount(Layer):
    """A count of ones as a checksum."""

    name = "ones_count"
    summary = "The number of ones after each block, by counting relays: an alarm for errors that go one way."
    needs = "relays"
    serial: ClassVar[bool] = True

    block_bytes: int = parameter(
        0, "Bytes before each count; 0: one count after all.", unit="bytes", low=0, high=65_535
    )
    count_bits: int = parameter(16, "Length of a count.", choices=(8, 16, 24))

    @property
    def _block_bits(self) -> int:
        return 8 * self.block_bytes

    def _blocks(self, data_bits: int) -> int:
        return max(1, -(-data_bits // self._block_bits)) if self.block_bytes else 1

    def coded_bits(self, data_bits: int) -> int:
        return data_bits + self.count_bits * self._blocks(data_bits)

    def _count(self, bits: Bits) -> Bits:
        sent = ~int(bits.sum(dtype=np.int64)) & ((1 << self.count_bits) - 1)
        shifts = np.arange(self.count_bits)[::-1]
        return ((sent >> shifts) & 1).astype(np.uint8)

    def encode(self, bits: Bits) -> Bits:
        size = self._block_bits or max(1, bits.size)
        blocks = [bits[first : first + size] for first in range(0, bits.size, size)] or [bits]
        return np.concatenate([part for block in blocks for part in (block, self._count(block))])

    def decode(self, passes: tuple[SoftBits, ...]) -> Heard:
        """The data without its counts: the first reading whose counts all agree, or what was heard, condemned.

        A reading whose length is not whole bytes is also tried without its last bits, for line codes that hear a
        few bits too many.
        """
        for reading in readings(passes):
            for length in dict.fromkeys((len(reading), len(reading) // 8 * 8)):
                places = self._places(length)
                if places is not None and not self._bad(reading, places):
                    return Heard((self._data(reading, places),))
        together = summed(passes)
        handed_on, events = [], []
        for heard in passes if together is None else (together,):
            places = self._places(len(heard) // 8 * 8)
            if places is None:
                handed_on.append(SoftBits([]))
                events.append(Event("ones_count: too short to hold its count"))
                continue
            handed_on.append(self._data(heard, places))
            for number in self._bad(heard, places):
                text = f"ones_count: block {number} holds another number of ones"
                events.append(Event(text, float(heard.times_s[places[number][0]])))
        return Heard(tuple(handed_on), False if passes else None, tuple(events))

    def _places(self, coded_bits: int) -> list[tuple[int, int]] | None:
        """Where the data of each block starts and ends; None if nothing coded has that length."""
        size = self._block_bits + self.count_bits if self.block_bytes else max(1, coded_bits)
        starts = list(range(0, coded_bits, size))
        places = [(start, min(start + size, coded_bits) - self.count_bits) for start in starts]
        whole = bool(places) and places[-1][1] >= places[-1][0] + (len(places) > 1)
        return places if whole else None

    def _bad(self, heard: SoftBits, places: list[tuple[int, int]]) -> list[int]:
        """Numbers of the blocks whose count is another."""
        bits = heard.bits
        return [
            number
            for number, (start, end) in enumerate(places)
            if not np.array_equal(self._count(bits[start:end]), bits[end : end + self.count_bits])
        ]

    def _data(self, heard: SoftBits, places: list[tuple[int, int]]) -> SoftBits:
        kept: NDArray[np.intp] = np.concatenate([np.arange(start, end) for start, end in places])
        return SoftBits(heard.values[kept], heard.times_s[kept])

    def bits_in_group(self, bits: int) -> int:
        """See ``RelayLayer``."""
        return bits

    def relay_cost(self) -> RelayCost:
        """See ``RelayLayer``: a counter, latches for what of the count is heard before its last byte, an alarm.

        A changeover of each counter bit against one of the bit that was sent compares them. With blocks a second
        counter, of bytes, says when the count comes; without, the address does, by hand switches that are set to the
        length on the label.
        """
        counting = 2 * self.count_bits
        kept = self.count_bits - 8
        block_steps = self.block_bytes + self.count_bits // 8
        blocks = 2 * (block_steps - 1).bit_length() if self.block_bytes else 0
        where = f"a block of {self.block_bytes} bytes" if self.block_bytes else "the program"
        return RelayCost(
            relays=counting + kept + blocks + 1,
            poles=COUNTER_POLES * (counting + blocks)
            + 2 * kept
            + 2 * self.count_bits
            + (0 if self.block_bytes else LENGTH_POLES)
            + 2,
            catches=(f"one wrong bit in {where}, and any number that all go one way",),
            misses=(f"as many ones lost as gained in {where}",),
        )
