"""`crc`: a check value after the data, by catalogue name.

The check is taken over the data's bytes (a broken last byte is filled up with zeros for the purpose) and sent after
the data. A damaged reading passes with a chance of 2^-width; at most ``2 * (passes + 1)`` readings are tried.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ...contracts import bits as bytes_and_bits
from ...contracts.bits import Bits
from ...contracts.decoded import Event
from ...contracts.layer import Heard, Layer
from ...contracts.parameters import parameter
from ...contracts.soft_bits import SoftBits
from .cyclic_redundancy import ALGORITHMS, CyclicRedundancy
from .passes import readings, summed


@dataclass(frozen=True)
class Crc(Layer):
    """A cyclic redundancy check over everything above it."""

    name = "crc"
    summary = "A cyclic redundancy check of 8, 16 or 32 bits by catalogue name, after the data."
    needs = "microcontroller"

    algorithm: str = parameter("crc-16-ibm-3740", "Which check, by its catalogue name.", choices=tuple(ALGORITHMS))

    @property
    def _check(self) -> CyclicRedundancy:
        return ALGORITHMS[self.algorithm]

    @property
    def lies_at_most(self) -> float:
        """Of one play; see the module's text."""
        return 4 * 2.0**-self._check.width

    def coded_bits(self, data_bits: int) -> int:
        return data_bits + self._check.width

    def encode(self, bits: Bits) -> Bits:
        return np.concatenate([bits, bytes_and_bits.from_bytes(self._check.appended(np.packbits(bits).tobytes()))])

    def decode(self, passes: tuple[SoftBits, ...]) -> Heard:
        """The data without its check; the first reading that checks is handed on alone, as certain.

        A reading whose length is not whole bytes is also tried without its last bits, for line codes that hear a
        few bits too many.
        """
        for reading in readings(passes):
            for length in dict.fromkeys((len(reading), len(reading) // 8 * 8)):
                data = length - self._check.width
                if data >= 0 and self._holds(reading, data):
                    return Heard((SoftBits.certain(reading.bits[:data], reading.times_s[:data]),), True)
        together = summed(passes)
        handed_on = passes if together is None else (together,)
        stripped = tuple(self._without_check(heard) for heard in handed_on)
        short = all(len(heard) < self._check.width for heard in passes)
        event = Event(f"crc: {'too short to hold' if short else 'does not match'} its {self.algorithm}")
        return Heard(stripped, False, (event,))

    def _holds(self, reading: SoftBits, data_bits: int) -> bool:
        length = data_bits + self._check.width
        if not reading.values[data_bits:length].all():
            return False  # a check that was not wholly heard proves nothing: silence would pass for zeros
        return np.array_equal(self.encode(reading.bits[:data_bits]), reading.bits[:length])

    def _without_check(self, heard: SoftBits) -> SoftBits:
        data = max(0, len(heard) - self._check.width)
        return SoftBits(heard.values[:data], heard.times_s[:data])
