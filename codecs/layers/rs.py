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

from ...contracts.bits import Bits
from ...contracts.decoded import Event
from ...contracts.errors import UsageError
from ...contracts.layer import Heard, Layer
from ...contracts.parameters import parameter
from ...contracts.soft_bits import CERTAIN, LOST, SoftBits
from .passes import readings
from .symbol_code import SymbolCode, powers, symbol_code
from .word_correction import Correction, WordCorrector


@dataclass(frozen=True)
class ReedSolomon(Layer):
    """Reed-Solomon correction over everything above it."""

    name = "rs"
    summary = "Reed-Solomon words: correct as many bytes as there are parity bytes if erased, half as many if not."
    needs = "microcontroller"

    parity_bytes: int = parameter(32, "Parity bytes in each word (n - k).", unit="bytes", low=2, high=128)
    word_bytes: int = parameter(255, "Longest word, parity included (n).", unit="bytes", low=3, high=255)
    field_polynomial: int = parameter(0x11D, "Polynomial of GF(256) as a number.", low=0x101, high=0x1FF)
    first_root: int = parameter(0, "Power of the generator that is the first root.", low=0, high=254)
    generator: int = parameter(2, "Element of order 255 whose powers are the roots.", low=2, high=255)

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

    def encode(self, bits: Bits) -> Bits:
        data = np.packbits(bits)
        sizes = _even_split(data.size, self._words_for(data.size))
        rows = _to_rows(data, sizes)
        parity = self.code.parity(rows)
        sent = _from_rows(np.concatenate([rows, parity], axis=1), sizes + self.parity_bytes)
        return np.unpackbits(sent)

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
        sizes = _even_split(coded, -(-coded // self.word_bytes))
        tried = readings(passes)
        words = self._words(tried, sizes)
        starts = 8 * (np.cumsum(sizes) - sizes)
        values, times = [], []
        for number, (size, start, word) in enumerate(zip(sizes, starts, words, strict=True)):
            data = slice(int(start), int(start + 8 * (size - self.parity_bytes)))
            values.append(_soft(word, tried[0].values[data]))
            times.append(passes[0].times_s[data])
            if word is None or word.used:
                told = self._told(word, number, len(words))
                events.append(Event(f"rs: {told}", float(passes[0].times_s[start])))
        joined = SoftBits(np.concatenate(values), np.concatenate(times))
        return Heard((joined,), all(word is not None for word in words), tuple(events))

    def _words(self, tried: tuple[SoftBits, ...], sizes: NDArray[np.intp]) -> list[Correction | None]:
        """Each word as the readings give it, None where none does."""
        corrector = WordCorrector(self.code, self.field_polynomial, self.generator, self.first_root)
        heard = [_ByteReading.of(reading, sizes) for reading in tried]
        clean = [self.code.are_codewords(reading.rows) for reading in heard]
        return [
            corrector.most_credible(
                [reading.word(number, size) for reading in heard], [bool(of_reading[number]) for of_reading in clean]
            )
            for number, size in enumerate(sizes.tolist())
        ]

    def _told(self, word: Correction | None, number: int, of: int) -> str:
        if word is None:
            return f"word {number + 1} of {of} could not be corrected"
        return (
            f"word {number + 1} of {of} corrected: {word.errors} errors and {word.erasures} erasures "
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


def _soft(word: Correction | None, as_heard: NDArray[np.float32]) -> NDArray[np.float32]:
    """The data bits of a word: certain, or as heard and marked as lost."""
    if word is None:
        return as_heard.clip(-LOST, LOST)
    data = np.unpackbits(word.word[: as_heard.size // 8])
    return np.where(data, CERTAIN, -CERTAIN).astype(np.float32)


@dataclass(frozen=True, slots=True)
class _ByteReading:
    """One reading cut into words: rows of bytes, right-aligned, and how sure each byte is (its weakest bit)."""

    rows: NDArray[np.uint8]
    confidence: NDArray[np.float32]

    @classmethod
    def of(cls, heard: SoftBits, sizes: NDArray[np.intp]) -> _ByteReading:
        coded = int(sizes.sum())
        weakest = np.abs(heard.values[: 8 * coded]).reshape(-1, 8).min(axis=1)
        return cls(_to_rows(np.packbits(heard.bits[: 8 * coded]), sizes), _to_rows(weakest, sizes))

    def word(self, place: int, size: int) -> tuple[NDArray[np.uint8], NDArray[np.float32]]:
        return self.rows[place, -size:], self.confidence[place, -size:]


def _even_split(total: int, parts: int) -> NDArray[np.intp]:
    short, longer = divmod(total, parts)
    sizes = np.full(parts, short, np.intp)
    sizes[:longer] += 1
    return sizes


def _places(sizes: NDArray[np.intp]) -> NDArray[np.bool_]:
    longest = int(sizes.max())
    return np.arange(longest)[None, :] >= longest - sizes[:, None]


def _to_rows(flat: NDArray[Any], sizes: NDArray[np.intp]) -> NDArray[Any]:
    """Pieces of ``sizes``, one a row, right-aligned behind zeros: leading zeros change no codeword."""
    used = _places(sizes)
    rows = np.zeros(used.shape, flat.dtype)
    rows[used] = flat
    return rows


def _from_rows(rows: NDArray[np.uint8], sizes: NDArray[np.intp]) -> NDArray[np.uint8]:
    return rows[_places(sizes)]
