"""`convolutional`: every bit is spread over its next K - 1 neighbours, and read back by the most likely path.

Generators are in octal, the top bit taps the newest data bit, outputs go in the order of the generators, and K - 1
zeros flush the register at the end. Higher rates leave out coded bits by the patterns of EN 300 421 (digital satellite
broadcasting, Table 2; from memory: the free distances 10, 6, 5, 4, 3 that it lists for K = 7 are those of the patterns
here), after Y. Yasuda, K. Kashiki and Y. Hirata, IEEE Trans. Commun. 32 (1984).

Data of D bits become the sent part of 2 (D + K - 1) coded bits. As every step sends at least one of its bits, the
length alone tells D. What comes out is soft: the sign is that of the most likely word, the magnitude is by how much
the best word with the other bit is worse. A bit that was not heard counts for neither.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...contracts.bits import Bits
from ...contracts.decoded import Event
from ...contracts.layer import Heard, Layer
from ...contracts.parameters import parameter
from ...contracts.soft_bits import SoftBits
from .passes import summed

PATTERNS = {
    "1of2": ("1", "1"),
    "2of3": ("10", "11"),
    "3of4": ("101", "110"),
    "5of6": ("10101", "11010"),
    "7of8": ("1000101", "1111010"),
}
"""Which bits of the first and the second generator are sent, step by step."""

GENERATORS = {7: (0o171, 0o133), 3: (0o7, 0o5)}
"""Constraint length to generators: the two in common use (K = 7: J. P. Odenwalder 1970; K = 3: textbooks)."""

SUREST = 60.0
"""Beyond this a ratio adds nothing but rounding; one bit must not outweigh a whole word."""


@dataclass(frozen=True)
class Convolutional(Layer):
    """A convolutional code of rate 1/2, punctured, with soft decoding."""

    name = "convolutional"
    summary = "Convolutional code with soft decoding: the strongest correction for noise, at any rate from 1/2 to 7/8."
    needs = "computer"
    needs_exact = True

    constraint_length: int = parameter(7, "How many bits a coded bit depends on.", choices=(3, 7))
    rate: str = parameter("1of2", "How many data bits for how many coded ones.", choices=tuple(PATTERNS))

    def coded_bits(self, data_bits: int) -> int:
        sent = self._sent_a_step
        whole, rest = divmod(data_bits + self.constraint_length - 1, sent.size)
        return int(whole * sent.sum() + sent[:rest].sum())

    def encode(self, bits: Bits) -> Bits:
        padded = np.concatenate((bits, np.zeros(self.constraint_length - 1, np.uint8)))
        coded = np.zeros((padded.size, 2), np.uint8)
        for output, generator in enumerate(GENERATORS[self.constraint_length]):
            for delay in range(self.constraint_length):
                if generator >> (self.constraint_length - 1 - delay) & 1:
                    coded[delay:, output] ^= padded[: padded.size - delay]
        return coded[self._sent(padded.size)]

    def decode(self, passes: tuple[SoftBits, ...]) -> Heard:
        """The data of the passes added up if all have one length, else of each."""
        together = summed(passes)
        each = passes if together is None else (together,)
        return Heard(tuple(self._decoded(heard) for heard in each), None, self._told(each))

    def _decoded(self, heard: SoftBits) -> SoftBits:
        data = self._data_bits(len(heard))
        if data < 0:
            return SoftBits([])
        from ...kernels.viterbi import best_paths

        steps = data + self.constraint_length - 1
        sent = self._sent(steps)
        coded = np.zeros((steps, 2), np.float32)
        coded[sent] = heard.values[: self.coded_bits(data)].clip(-SUREST, SUREST)
        last = np.cumsum(sent.sum(axis=1)) - 1
        likelihoods = np.empty(steps, np.float32)
        first, second = np.ascontiguousarray(coded.T)
        first_signs, second_signs = self._signs
        best_paths(first, second, first_signs, second_signs, likelihoods)
        return SoftBits(likelihoods[:data], heard.times_s[last[:data]])

    def _told(self, each: tuple[SoftBits, ...]) -> tuple[Event, ...]:
        short = [len(heard) for heard in each if self._data_bits(len(heard)) < 0]
        return tuple(Event(f"convolutional: {bits} bits are too few for a word") for bits in short)

    def _data_bits(self, coded_bits: int) -> int:
        """The most data bits whose code has at most ``coded_bits``; negative if there is none."""
        sent = self._sent_a_step
        whole, rest = divmod(coded_bits, int(sent.sum()))
        steps = whole * sent.size + int(np.searchsorted(np.cumsum(sent), rest, side="right"))
        return steps - (self.constraint_length - 1)

    @property
    def _sent_a_step(self) -> NDArray[np.intp]:
        """How many bits each step of the pattern sends, shape (steps of the pattern,)."""
        first, second = PATTERNS[self.rate]
        return np.array([int(one) + int(other) for one, other in zip(first, second, strict=True)])

    def _sent(self, steps: int) -> NDArray[np.bool_]:
        """Which coded bits are sent, shape (steps, 2)."""
        pattern = np.array([[digit == "1" for digit in row] for row in PATTERNS[self.rate]]).T
        repeats = -(-steps // len(pattern))
        return np.tile(pattern, (repeats, 1))[:steps]

    @property
    def _signs(self) -> list[NDArray[np.float32]]:
        """Half a sign for what a 0 gives after every other state, for both generators."""
        registers = np.arange(0, 1 << (self.constraint_length - 1), 2)
        parity = [np.bitwise_count(registers & generator) & 1 for generator in GENERATORS[self.constraint_length]]
        return [(odd - np.float32(0.5)).astype(np.float32) for odd in parity]
