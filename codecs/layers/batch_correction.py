"""The compiled corrector: all words in one call, with the tables that its kernel looks up."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from .symbol_code import SymbolCode
from .word_correction import Corrections, Erased

_HALVES = np.array([np.arange(16), np.arange(16) << 4])
"""Every byte is the sum of a low and a high half, shape (2, 16)."""


@dataclass(frozen=True, slots=True)
class BatchCorrector:
    """A ``WordCorrector``; it holds no lock, and lets other threads run."""

    code: SymbolCode

    def are_codewords(self, words: NDArray[np.uint8]) -> NDArray[np.bool_]:
        from ...kernels.galois import recognise_words

        clean = np.empty(len(words), np.bool_)
        recognise_words(_right_aligned(words).view(np.uint64), _tables(self.code).feedback, clean)
        return clean

    def corrected(self, words: NDArray[np.uint8], erased: Erased) -> Corrections:
        from ...kernels.galois import correct_words

        tables = _tables(self.code)
        rows = _right_aligned(words)
        sound = np.empty(len(rows), np.bool_)
        errors = np.empty(len(rows), np.int64)
        correct_words(
            rows,
            rows.view(np.uint64),
            np.ascontiguousarray(erased),
            self.code.parity_bytes,
            self.code.first_root,
            tables.feedback,
            tables.to_syndromes,
            tables.to_positions,
            self.code.powers,
            tables.products,
            tables.inverses,
            sound,
            errors,
        )
        return Corrections(rows[:, -words.shape[1] :], sound, errors, np.count_nonzero(erased, axis=1))


@dataclass(frozen=True, slots=True, eq=False)
class _Tables:
    """In the shapes that ``kernels.galois`` asks for, each in one row."""

    feedback: NDArray[np.uint64]
    to_syndromes: NDArray[np.uint64]
    to_positions: NDArray[np.uint64]
    products: NDArray[np.uint8]
    inverses: NDArray[np.uint8]


@lru_cache(maxsize=16)
def _tables(code: SymbolCode) -> _Tables:
    """Made once for a code: 0.4 MB for 32 parity bytes."""
    parity, products, powers = code.parity_bytes, code.products, code.powers
    inverses = np.zeros(256, np.uint8)
    inverses[powers] = powers[-np.arange(255)]
    columns = [code.feedback]
    for _ in range(7):
        last = columns[-1]
        columns.append(np.pad(last[:, 1:], ((0, 0), (0, 1))) ^ code.feedback[last[:, 0]])
    roots = (code.first_root + np.arange(parity)) % 255
    from_remainder = powers[-roots * (1 + np.arange(parity)[:, None]) % 255]
    from_locator = powers[-np.arange(255) * np.arange(parity + 1)[:, None] % 255]
    return _Tables(
        _lanes(np.array(columns[::-1])),
        _lanes(products[_HALVES[:, :, None], from_remainder[:, None, None, :]]),
        _lanes(products[_HALVES[:, :, None], from_locator[:, None, None, :]]),
        products.ravel(),
        inverses,
    )


def _right_aligned(words: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """A copy behind zeros, in a whole number of lanes of 8 bytes."""
    count, size = words.shape
    rows = np.zeros((count, size + -size % 8), np.uint8)
    rows[:, -size % 8 :] = words
    return rows


def _lanes(table: NDArray[np.uint8]) -> NDArray[np.uint64]:
    """The last axis filled up with zeros to whole lanes; all in one row."""
    unused = [(0, 0)] * (table.ndim - 1)
    whole = np.pad(table, [*unused, (0, -table.shape[-1] % 8)])
    return np.ascontiguousarray(whole).view(np.uint64).ravel()
