"""`interleave`: neighbours on the tape come from far apart, so a burst is shared out among many words.

The bytes are written into ``depth`` rows, one after the other, whose lengths differ by at most one (longer rows
first), and sent column by column. The length stays, whatever it is; bits after the last whole byte keep their place.
A burst of ``b`` bytes on the tape hits each row at most ``ceil(b / depth)`` times.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...contracts.bits import Bits
from ...contracts.layer import Heard, Layer
from ...contracts.parameters import parameter
from ...contracts.soft_bits import SoftBits


@dataclass(frozen=True)
class Interleave(Layer):
    """A block interleaver of bytes over everything above it."""

    name = "interleave"
    summary = "Sends the bytes of `depth` rows in turn, so that a burst is shared out among them."
    needs = "microcontroller"

    depth: int = parameter(4, "From how many rows neighbours on the tape come.", low=1, high=4096)

    def coded_bits(self, data_bits: int) -> int:
        return data_bits

    def encode(self, bits: Bits) -> Bits:
        return bits[self._sent(bits.size)]

    def decode(self, passes: tuple[SoftBits, ...]) -> Heard:
        return Heard(tuple(self._restored(heard) for heard in passes))

    def _restored(self, heard: SoftBits) -> SoftBits:
        origin = np.argsort(self._sent(len(heard)))
        return SoftBits(heard.values[origin], heard.times_s[origin])

    def _sent(self, bits: int) -> NDArray[np.intp]:
        """Which bit of the data is sent in each place, shape (bits,)."""
        whole = bits // 8
        short, longer = divmod(whole, self.depth)
        lengths = np.full(self.depth, short)
        lengths[:longer] += 1
        starts = np.cumsum(lengths) - lengths
        column = np.arange(whole) - np.repeat(starts, lengths)
        order = np.argsort(column, kind="stable")
        sent: NDArray[np.intp] = np.concatenate(
            [(8 * order[:, None] + np.arange(8)).ravel(), np.arange(8 * whole, bits)]
        )
        return sent
