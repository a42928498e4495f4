"""One Reed-Solomon word put right, and the proof that it was within the bound.

reedsolo finds the candidate; whether it is believed is decided here (its 1.7.0 accepts some words beyond the bound
when the number of erasures is odd).
"""

from __future__ import annotations

import threading
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...contracts.soft_bits import LOST
from .symbol_code import SymbolCode

Reading = tuple[NDArray[np.uint8], NDArray[np.float32]]
"""The bytes of a word as read, shape (n,), and the weakest bit of each, shape (n,)."""

_PLENTY_UNUSED = 8  # parity bytes left over: no need to look for a better word
_PARITY_TO_GUESS = 24  # with half of it erased, random words are still accepted only once in 6! (1/t! for t = 6)

# reedsolo keeps its field tables in module variables: two threads with different fields would mix them up.
_ONE_AT_A_TIME = threading.Lock()


@dataclass(frozen=True, slots=True)
class Correction:
    """A sound word.

    Attributes:
        word: the codeword, shape (n,).
        errors: bytes that changed without having been erased (e).
        erasures: bytes erased (f).
    """

    word: NDArray[np.uint8]
    errors: int
    erasures: int

    @property
    def used(self) -> int:
        """Parity bytes that the correction takes: 2 e + f."""
        return 2 * self.errors + self.erasures


@dataclass(frozen=True, slots=True)
class WordCorrector:
    """Corrects words of one code."""

    code: SymbolCode
    field_polynomial: int
    alpha: int
    first_root: int

    def most_credible(self, readings: Sequence[Reading], clean: Sequence[bool]) -> Correction | None:
        """The word within the bound that leaves most parity unused, which is what speaks for it; None if there is none.

        A reading that is a codeword as it stands needs no other.
        """
        for (word, confidence), is_clean in zip(readings, clean, strict=True):
            unheard = int(np.count_nonzero(confidence == 0))
            if is_clean and unheard <= self.code.parity_bytes:
                return Correction(word, 0, unheard)
        best: Correction | None = None
        for word, confidence in readings:
            for erased in self._erasures_to_try(confidence):
                correction = self.corrected(word, erased)
                if correction is not None and (best is None or correction.used < best.used):
                    best = correction
                if best is not None and best.used <= self.code.parity_bytes - _PLENTY_UNUSED:
                    return best
        return best

    def corrected(self, word: NDArray[np.uint8], erased: NDArray[np.bool_]) -> Correction | None:
        """``word`` corrected with the bytes where ``erased``, shape (n,), is true unknown; None if beyond the bound."""
        found = self._candidate(word, erased)
        if found is None or found.shape != word.shape or not self.code.are_codewords(found[None])[0]:
            return None
        errors = int(np.count_nonzero((found != word) & ~erased))
        erasures = int(np.count_nonzero(erased))
        correction = Correction(found, errors, erasures)
        return correction if correction.used <= self.code.parity_bytes else None

    def _erasures_to_try(self, confidence: NDArray[np.float32]) -> Iterator[NDArray[np.bool_]]:
        """What is not known, if that is not too much; then only what was not heard at all; then the weakest bytes.

        A byte of which a bit was not heard at all is erased every time: its zeros say nothing, and a run of them
        would pass for the codeword of zeros.
        """
        parity = self.code.parity_bytes
        by_weakness = np.argsort(confidence, kind="stable")
        least = int(np.count_nonzero(confidence == 0))
        counts = [int(np.count_nonzero(confidence <= LOST)), least]
        if parity >= _PARITY_TO_GUESS:
            weaker_than_most = int(np.count_nonzero(confidence < np.median(confidence)))
            counts.append(max(least, min(parity // 2, weaker_than_most)))
        for count in dict.fromkeys(count for count in counts if count <= parity):
            erased = np.zeros(confidence.shape, np.bool_)
            erased[by_weakness[:count]] = True
            yield erased

    def _candidate(self, word: NDArray[np.uint8], erased: NDArray[np.bool_]) -> NDArray[np.uint8] | None:
        from reedsolo import ReedSolomonError

        with _ONE_AT_A_TIME:
            codec = _library_codec(self.code.parity_bytes, self.field_polynomial, self.alpha, self.first_root)
            try:
                _, found, _ = codec.decode(bytearray(word.tobytes()), erase_pos=np.flatnonzero(erased).tolist())
            except (ReedSolomonError, ArithmeticError, LookupError, ValueError):
                return None  # the library's ways of giving up
        return np.frombuffer(bytes(found), np.uint8)


@lru_cache(maxsize=64)
def _library_codec(parity_bytes: int, field_polynomial: int, alpha: int, first_root: int) -> Any:
    from reedsolo import RSCodec

    return RSCodec(parity_bytes, nsize=255, fcr=first_root, prim=field_polynomial, generator=alpha)
