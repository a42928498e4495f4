"""`hamming`: four data bits in seven, or in eight with a parity bit over all; R. W. Hamming 1950.

Places 1 to 7 of a word are p1 p2 d1 p4 d2 d3 d4 with even parity; the eighth makes the whole word even. Data that are
no whole words are filled up with zeros.

Decoding compares what was heard with all 16 words. A data bit comes out with the difference between the best word
that has it and the best that has it not, so that weak bits give way to strong ones. Where all bits are equally sure
that is the textbook's decision: of seven bits one error is put right, of eight one is put right and two are noticed,
for then four words fit equally well.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import cast

import numpy as np

from ...contracts.bits import Bits
from ...contracts.decoded import Event
from ...contracts.layer import Heard, Layer
from ...contracts.parameters import parameter
from ...contracts.soft_bits import LOST, SoftBits
from .passes import summed

_DATA_PLACES = (2, 4, 5, 6)
_SUREST = 60.0  # beyond this a ratio adds nothing but rounding; one bit must not outweigh a whole word
_MOST_TOLD = 20

_NIBBLES: Bits = np.unpackbits(np.arange(16, dtype=np.uint8)[:, None], axis=1)[:, 4:]
"""Every four data bits, shape (16, 4)."""


def _words() -> Bits:
    words = np.zeros((16, 8), np.uint8)
    words[:, _DATA_PLACES] = _NIBBLES
    numbers = np.arange(1, 8)
    for check in (1, 2, 4):
        words[:, check - 1] = words[:, :7][:, (numbers & check) > 0].sum(axis=1) % 2
    words[:, 7] = words.sum(axis=1) % 2
    return words


_WORDS = _words()
"""Every word with the parity bit over all at its end, shape (16, 8)."""


@dataclass(frozen=True)
class Hamming(Layer):
    """A Hamming code over everything above it."""

    name = "hamming"
    summary = "Four data bits in seven, one wrong bit put right; or in eight, two wrong ones noticed as well."
    needs = "microcontroller"

    word_bits: int = parameter(7, "Bits of a word: 7, or 8 with a parity bit over all.", unit="bits", choices=(7, 8))

    def coded_bits(self, data_bits: int) -> int:
        return self.word_bits * -(-data_bits // 4)

    def encode(self, bits: Bits) -> Bits:
        padded = np.pad(bits, (0, -bits.size % 4)).reshape(-1, 4)
        numbers = padded @ np.array([8, 4, 2, 1], np.uint8)
        return cast(Bits, _WORDS[numbers, : self.word_bits].ravel())

    def decode(self, passes: tuple[SoftBits, ...]) -> Heard:
        """The data of the passes added up if all have one length, else of each."""
        together = summed(passes)
        each = passes if together is None else (together,)
        decoded = tuple(self._decoded(heard) for heard in each)
        return Heard(decoded, None, tuple(event for data in decoded for event in _told(data)))

    def _decoded(self, heard: SoftBits) -> SoftBits:
        count = len(heard) // self.word_bits
        values = heard.values[: count * self.word_bits].reshape(count, self.word_bits)
        known = np.where(np.abs(values) > LOST, values.clip(-_SUREST, _SUREST), np.float32(0))
        likelihood = known @ (_WORDS[:, : self.word_bits].T - np.float32(0.5))
        data = np.empty((count, 4), np.float32)
        for place in range(4):
            has_it = _NIBBLES[:, place] > 0
            data[:, place] = likelihood[:, has_it].max(axis=1) - likelihood[:, ~has_it].max(axis=1)
        as_heard = values[:, _DATA_PLACES].clip(-LOST, LOST)
        times = heard.times_s[: values.size].reshape(values.shape)[:, _DATA_PLACES]
        return SoftBits(np.where(np.abs(data) > LOST, data, as_heard).ravel(), times.ravel())


def _told(data: SoftBits) -> list[Event]:
    lost = np.flatnonzero((np.abs(data.values) <= LOST).reshape(-1, 4).any(axis=1)).tolist()
    told = [
        Event(f"hamming: word {number + 1} of {len(data) // 4} could not be corrected", float(data.times_s[4 * number]))
        for number in lost[:_MOST_TOLD]
    ]
    if len(lost) > _MOST_TOLD:
        told.append(Event(f"hamming: {len(lost) - _MOST_TOLD} more words could not be corrected"))
    return told
