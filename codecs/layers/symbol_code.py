"""A systematic Reed-Solomon code over bytes: parity and syndromes of many words at once, in numpy.

Symbols of the literature: words of n bytes hold k of data and n - k of parity; the generator polynomial has the roots
``alpha^(c), alpha^(c + 1), ...`` with ``alpha`` an element of order 255 and ``c`` the first root. The first byte is the
highest power. Shorter words are the same code with leading zeros that are not sent.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Words = NDArray[np.uint8]


@dataclass(frozen=True, slots=True, eq=False)
class SymbolCode:
    """The tables of one code; built by ``symbol_code``.

    Attributes:
        field_polynomial: of GF(256), as a number.
        parity_bytes: n - k.
        first_root: c.
        powers: of alpha, shape (255,).
        products: of every two bytes, shape (256, 256).
        root_products: shape (n - k, 256): each root times each byte.
        feedback: shape (256, n - k): each byte times the generator polynomial without its leading one.
    """

    field_polynomial: int
    parity_bytes: int
    first_root: int
    powers: Words
    products: Words
    root_products: Words
    feedback: Words

    def parity(self, data: Words) -> Words:
        """The parity of each row of ``data``, shape (words, k) in, (words, n - k) out.

        >>> symbol_code(0x12D, 2, 1, 3).parity(np.frombuffer(bytes.fromhex("8ea4ba"), np.uint8)[None]).shape
        (1, 3)
        """
        register = np.zeros((data.shape[0], self.parity_bytes), np.uint8)
        shifted = np.zeros_like(register)
        for symbol in data.T:
            shifted[:, :-1] = register[:, 1:]
            register = shifted ^ self.feedback[symbol ^ register[:, 0]]
        return register

    def syndromes(self, words: Words) -> Words:
        """What each row gives at each root, shape (words, n) in, (words, n - k) out; all zero for a codeword."""
        at_roots = np.zeros((words.shape[0], self.parity_bytes), np.uint8)
        roots = np.arange(self.parity_bytes)
        for symbol in words.T:
            at_roots = self.root_products[roots, at_roots] ^ symbol[:, None]
        return at_roots

    def are_codewords(self, words: Words) -> NDArray[np.bool_]:
        """Which rows are codewords, shape (words,)."""
        clean: NDArray[np.bool_] = np.all(self.syndromes(words) == 0, axis=1)
        return clean


def powers(field_polynomial: int, alpha: int) -> tuple[int, ...] | None:
    """``alpha`` to the 0..254 in GF(256); None if they are not the 255 different elements that a code needs."""
    element, found = 1, []
    for _ in range(255):
        found.append(element)
        element = _product(element, alpha, field_polynomial)
    return tuple(found) if sorted(found) == list(range(1, 256)) else None


def _product(left: int, right: int, field_polynomial: int) -> int:
    product = 0
    while right:
        product ^= left if right & 1 else 0
        right >>= 1
        left <<= 1
        left ^= field_polynomial if left & 0x100 else 0
    return product


@lru_cache(maxsize=64)
def symbol_code(field_polynomial: int, alpha: int, first_root: int, parity_bytes: int) -> SymbolCode:
    """The code with these roots. ``alpha`` must be an element of order 255."""
    of_power = powers(field_polynomial, alpha)
    if of_power is None:
        raise ValueError(f"{alpha} does not generate GF(256) under polynomial {field_polynomial:#x}")
    log = np.zeros(256, np.intp)
    log[list(of_power)] = np.arange(255)
    power = np.array(of_power, np.uint8)
    products = power[(log[:, None] + log[None, :]) % 255]
    products[0, :] = products[:, 0] = 0
    roots = power[(first_root + np.arange(parity_bytes)) % 255]
    generator = np.array([1], np.uint8)
    for root in roots:
        generator = np.append(generator, np.uint8(0)) ^ np.append(np.uint8(0), products[root, generator])
    return SymbolCode(
        field_polynomial, parity_bytes, first_root, power, products, products[roots], products[:, generator[1:]]
    )
