"""The reference corrector: reedsolo finds the words one by one; whether one is believed is decided here.

reedsolo 1.7.0 accepts some words beyond the bound when the number of erasures is odd.
"""

from __future__ import annotations

import threading
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .symbol_code import SymbolCode
from .word_correction import Corrections, Erased

# reedsolo keeps its field tables in module variables: two threads with different fields would mix them up.
_ONE_AT_A_TIME = threading.Lock()


@dataclass(frozen=True, slots=True)
class LibraryCorrector:
    """A ``WordCorrector``, slow and independent of the compiled one."""

    code: SymbolCode

    def are_codewords(self, words: NDArray[np.uint8]) -> NDArray[np.bool_]:
        return self.code.are_codewords(words)

    def corrected(self, words: NDArray[np.uint8], erased: Erased) -> Corrections:
        found = words.copy()
        for row, (word, unknown) in enumerate(zip(words, erased, strict=True)):
            candidate = self._candidate(word, unknown)
            if candidate is not None and candidate.shape == word.shape:
                found[row] = candidate
        errors = np.count_nonzero((found != words) & ~erased, axis=1)
        erasures = np.count_nonzero(erased, axis=1)
        sound = self.code.are_codewords(found) & (2 * errors + erasures <= self.code.parity_bytes)
        return Corrections(np.where(sound[:, None], found, words), sound, np.where(sound, errors, 0), erasures)

    def _candidate(self, word: NDArray[np.uint8], erased: NDArray[np.bool_]) -> NDArray[np.uint8] | None:
        from reedsolo import ReedSolomonError

        with _ONE_AT_A_TIME:
            codec = _library_codec(self.code)
            try:
                _, found, _ = codec.decode(bytearray(word.tobytes()), erase_pos=np.flatnonzero(erased).tolist())
            except (ReedSolomonError, ArithmeticError, LookupError, ValueError):
                return None  # the library's ways of giving up
        return np.frombuffer(bytes(found), np.uint8)


@lru_cache(maxsize=64)
def _library_codec(code: SymbolCode) -> Any:
    from reedsolo import RSCodec

    return RSCodec(
        code.parity_bytes, nsize=255, fcr=code.first_root, prim=code.field_polynomial, generator=int(code.powers[1])
    )
