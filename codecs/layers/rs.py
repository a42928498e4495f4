"""`rs`: Reed-Solomon words of bytes, with errors and erasures corrected.

D data bytes become B = ceil(D / k) words, at least one, whose sizes differ by at most one (larger words first); each
word is its data followed by its parity. As C coded bytes hold ceil(C / n) words, the length alone tells the split.
Bits that do not fill the last byte are filled up with zeros.

Law: a corrected word is believed only if it is a codeword and ``2 e + f <= n - k``, with e the bytes that changed
without having been erased and f the erasures. What a decoder says of itself does not count. Within the bound a word
of noise still passes with a chance of about 1/((n - k - f) / 2)!, and for certain where f = n - k: a verdict that can
be relied on takes a check above.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...contracts.bearable import Bearable
from ...contracts.bits import Bits
from ...contracts.decoded import Event
from ...contracts.errors import UsageError
from ...contracts.layer import Heard, Layer
from ...contracts.parameters import parameter
from ...contracts.soft_bits import CERTAIN, LOST, SoftBits
from .batch_correction import BatchCorrector
from .library_correction import LibraryCorrector
from .passes import readings
from .symbol_code import SymbolCode, powers, symbol_code
from .word_choice import most_credible
from .word_correction import Corrections, WordCorrector

_BYTES_AT_ONCE = 1 << 12
"""Few enough that their soft bits stay in the processor's cache."""


@dataclass(frozen=True)
class ReedSolomon(Layer):
    """Reed-Solomon correction over everything above it."""

    name = "rs"
    summary = "Reed-Solomon words: correct as many bytes as there are parity bytes if erased, half as many if not."
    needs = "microcontroller"
    hands_on = "whole_bytes"

    parity_bytes: int = parameter(32, "Parity bytes in each word (n - k).", unit="bytes", low=2, high=128)
    word_bytes: int = parameter(255, "Longest word, parity included (n).", unit="bytes", low=3, high=255)
    field_polynomial: int = parameter(0x11D, "Polynomial of GF(256) as a number.", low=0x101, high=0x1FF)
    first_root: int = parameter(0, "Power of the generator that is the first root.", low=0, high=254)
    generator: int = parameter(2, "Element of order 255 whose powers are the roots.", low=2, high=255)
    engine: str = parameter(
        "batch", "What corrects: compiled code, or a slow library to compare it with.", choices=("batch", "reference")
    )

    def check(self) -> None:
        if self.parity_bytes >= self.word_bytes:
            raise UsageError(
                f"{self.name}: parameter 'parity_bytes' must be less than word_bytes = {self.word_bytes}, "
                f"not {self.parity_bytes}."
            )
        if powers(self.field_polynomial, self.generator) is None:
            raise UsageError(
                f"{self.name}: parameter 'generator' must generate GF(256) under field_polynomial = "
                f"{self.field_polynomial}, and {self.generator} does not."
            )

    @property
    def code(self) -> SymbolCode:
        """The tables of the code."""
        return symbol_code(self.field_polynomial, self.generator, self.first_root, self.parity_bytes)

    def coded_bits(self, data_bits: int) -> int:
        data = -(-data_bits // 8)
        return 8 * (data + self.parity_bytes * self._words_for(data))

    def bearable(self, data_bits: int, above: Bearable) -> Bearable:
        """Any word may miss as many bytes as it has parity."""
        words = self._words_for(-(-data_bits // 8))
        return Bearable(8 * self.parity_bytes, 8 * -(-self.coded_bits(data_bits) // (8 * words)))

    def encode(self, bits: Bits) -> Bits:
        data = np.packbits(bits)
        runs = _even_split(data.size, self._words_for(data.size))
        rows = np.zeros((runs[-1].words.stop, runs[0].size), np.uint8)
        for run in runs:
            rows[run.words, runs[0].size - run.size :] = run.of(data)  # leading zeros change no codeword
        coded = np.concatenate([rows, self.code.parity(rows)], axis=1)
        sent = [coded[run.words, runs[0].size - run.size :].ravel() for run in runs]
        return np.unpackbits(np.concatenate(sent))

    def decode(self, passes: tuple[SoftBits, ...]) -> Heard:
        """One pass if all have one length, or if one of them is whole; each word from the reading that gives it."""
        if passes and len({len(heard) for heard in passes}) > 1:
            each = tuple(self._together((heard,)) for heard in passes)
            whole = [heard for heard in each if heard.verdict]
            if whole:
                return whole[0]
            return Heard(
                tuple(heard.passes[0] for heard in each),
                False,
                tuple(event for heard in each for event in heard.events),
            )
        return self._together(passes)

    def _together(self, passes: tuple[SoftBits, ...]) -> Heard:
        heard_bytes = len(passes[0]) // 8 if passes else 0
        coded = self._longest_coded(heard_bytes)
        if coded == 0:
            return Heard((SoftBits([]),), False, (Event(f"rs: {heard_bytes} bytes are too few for a word"),))
        events: list[Event] = []
        if coded < heard_bytes:
            events.append(Event(f"rs: {heard_bytes - coded} bytes at the end make no word"))
        runs = _even_split(coded, -(-coded // self.word_bytes))
        tried = readings(passes)
        read = [_by_byte(reading.values[: 8 * coded]) for reading in tried]
        data_bits = 8 * (coded - runs[-1].words.stop * self.parity_bytes)
        values, times_s, sound, filled = np.empty(data_bits, np.float32), np.empty(data_bits), True, 0
        for run in runs:
            words = most_credible(self._corrector, [(run.of(data), run.of(weakest)) for data, weakest in read])
            on_tape, kept = run.of_bits(passes[0].times_s), 8 * (run.size - self.parity_bytes)
            part = slice(filled, filled := filled + len(on_tape) * kept)
            self._set_soft(values[part].reshape(len(on_tape), kept), words, run.of_bits(tried[0].values)[:, :kept])
            times_s[part].reshape(len(on_tape), kept)[...] = on_tape[:, :kept]
            sound &= bool(words.sound.all())
            for row in np.flatnonzero(~words.sound | (words.used > 0)).tolist():
                told = f"rs: word {run.words.start + row + 1} of {runs[-1].words.stop} {self._told(words, row)}"
                events.append(Event(told, float(on_tape[row, 0])))
        return Heard((SoftBits(values, times_s),), sound, tuple(events))

    @property
    def _corrector(self) -> WordCorrector:
        return BatchCorrector(self.code) if self.engine == "batch" else LibraryCorrector(self.code)

    def _set_soft(self, values: NDArray[np.float32], words: Corrections, as_heard: NDArray[np.float32]) -> None:
        """Fill in the data bits of words, shape (words, 8 k): certain, or as heard and marked as lost."""
        values[...] = np.unpackbits(words.words[:, : words.words.shape[1] - self.parity_bytes], axis=1)
        values -= np.float32(0.5)
        values *= np.float32(2 * CERTAIN)
        lost = np.flatnonzero(~words.sound)
        values[lost] = as_heard[lost].clip(-LOST, LOST)

    def _told(self, words: Corrections, row: int) -> str:
        if not words.sound[row]:
            return "could not be corrected"
        return (
            f"corrected: {words.errors[row]} errors and {words.erasures[row]} erasures "
            f"with {self.parity_bytes} parity bytes"
        )

    def _words_for(self, data_bytes: int) -> int:
        return max(1, -(-data_bytes // (self.word_bytes - self.parity_bytes)))

    def _longest_coded(self, heard_bytes: int) -> int:
        """The greatest length that ``encode`` can have made, at most ``heard_bytes``; 0 if there is none."""
        words = -(-heard_bytes // self.word_bytes)
        data = heard_bytes - words * self.parity_bytes
        if data >= 0 and words and self._words_for(data) == words:
            return heard_bytes
        return (words - 1) * self.word_bytes if words > 1 else 0


def _by_byte(values: NDArray[np.float32]) -> tuple[NDArray[np.uint8], NDArray[np.float32]]:
    """The bytes that soft bits say, and the magnitude of the weakest bit of each."""
    weakest = np.empty(values.size // 8, np.float32)
    for first in range(0, weakest.size, _BYTES_AT_ONCE):
        some = np.abs(values[8 * first : 8 * (first + _BYTES_AT_ONCE)]).reshape(-1, 8)
        np.minimum.reduce(np.ascontiguousarray(some.T), axis=0, out=weakest[first : first + _BYTES_AT_ONCE])
    return np.packbits(values > 0), weakest


@dataclass(frozen=True, slots=True)
class _Run:
    """Words of one size that follow each other.

    Attributes:
        words: their numbers.
        size: of each, in bytes.
        start: the byte at which the first starts.
    """

    words: slice
    size: int
    start: int

    def of(self, by_byte: NDArray[Any]) -> NDArray[Any]:
        """Their part of one number a byte, as a row a word."""
        count = self.words.stop - self.words.start
        return by_byte[self.start : self.start + count * self.size].reshape(count, self.size)

    def of_bits(self, by_bit: NDArray[Any]) -> NDArray[Any]:
        """Their part of one number a bit, as a row a word."""
        count = self.words.stop - self.words.start
        return by_bit[8 * self.start : 8 * (self.start + count * self.size)].reshape(count, 8 * self.size)


def _even_split(total: int, words: int) -> tuple[_Run, ...]:
    """That many words of ``total`` bytes, larger ones first."""
    size, larger = divmod(total, words)
    runs = (_Run(slice(0, larger), size + 1, 0), _Run(slice(larger, words), size, larger * (size + 1)))
    return runs if larger else runs[1:]
