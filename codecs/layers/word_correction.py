"""What a corrector makes of many Reed-Solomon words of one length, and what the two correctors have in common.

Law: a row is sound only if it is a codeword and ``2 e + f <= n - k``, with e the bytes that changed without having
been erased and f the erasures. Every other row is as it was.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from .symbol_code import SymbolCode

Erased = NDArray[np.bool_]
"""Which bytes are not known, shape (words, n)."""


@dataclass(frozen=True, slots=True, eq=False)
class Corrections:
    """Words after correction.

    Attributes:
        words: shape (words, n).
        sound: which rows are codewords within the bound, shape (words,).
        errors: bytes that changed without having been erased (e), shape (words,); 0 where not sound.
        erasures: bytes erased (f), shape (words,).
    """

    words: NDArray[np.uint8]
    sound: NDArray[np.bool_]
    errors: NDArray[np.int64]
    erasures: NDArray[np.int64]

    @property
    def used(self) -> NDArray[np.int64]:
        """Parity bytes that each correction takes: 2 e + f, shape (words,)."""
        return 2 * self.errors + self.erasures


class WordCorrector(Protocol):
    """Corrects words of one code."""

    @property
    def code(self) -> SymbolCode:
        """The code."""

    def are_codewords(self, words: NDArray[np.uint8]) -> NDArray[np.bool_]:
        """Which rows of ``words``, shape (words, n), are codewords, shape (words,)."""

    def corrected(self, words: NDArray[np.uint8], erased: Erased) -> Corrections:
        """Each row of ``words``, shape (words, n), corrected with the bytes where ``erased`` unknown."""
