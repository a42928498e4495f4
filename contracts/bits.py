"""Bytes and bits: uint8 0/1, most significant bit first.

With both tracks in use even bits go left and odd bits right, so spreading over the tracks is a permutation.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Bits = NDArray[np.uint8]


def from_bytes(data: bytes) -> Bits:
    """The bits of ``data``, shape (8 * len(data),).

    >>> from_bytes(b"\\xa5").tolist()
    [1, 0, 1, 0, 0, 1, 0, 1]
    """
    return np.unpackbits(np.frombuffer(data, np.uint8))


def to_bytes(bits: Bits) -> bytes:
    """The whole bytes in ``bits``; a broken last byte is left out.

    >>> to_bytes(np.array([1, 0, 1, 0, 0, 1, 0, 1, 1], np.uint8))
    b'\\xa5'
    """
    return np.packbits(bits[: bits.size - bits.size % 8]).tobytes()
