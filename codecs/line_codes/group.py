"""Group codes: four bits become five cells that never hold many without a change.

``fddi``: 4B/5B, the data symbols of IEEE 802.3, Table 24-1 (at most three cells without a change). ``tape``: the 4/5
code (0,2) of magnetic tape at 6,250 characters an inch, ISO 5652 / ECMA-50 (at most two).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from ...contracts.bits import Bits
from ...contracts.parameters import parameter
from .nrzi import Nrzi
from .word_trellis import WordTrellis, two_level_trellis

TABLES = {
    "fddi": "11110 01001 10100 10101 01010 01011 01110 01111 10010 10011 10110 10111 11010 11011 11100 11101",
    "tape": "11001 11011 10010 10011 11101 10101 10110 10111 11010 01001 01010 01011 11110 01101 01110 01111",
}
"""Five cells for each four bits from 0000 to 1111, 1 where a cell begins with a change."""


@dataclass(frozen=True)
class Group(Nrzi):
    """A group code on one track, on both alike, or split over both."""

    name: ClassVar[str] = "group"
    summary: ClassVar[str] = "Four bits in five cells from a published table: more bits for the band than biphase."

    table: str = parameter("fddi", "Which published table.", choices=tuple(TABLES))

    @property
    def trellis(self) -> WordTrellis:
        return _trellis(self.table)

    def changes(self, bits: Bits) -> Bits:
        """Five cells for each four bits.

        >>> Group().changes(np.array([1, 1, 0, 1], np.uint8)).tolist()
        [1, 1, 0, 1, 1]
        """
        values = bits.reshape(-1, 4) @ np.array([8, 4, 2, 1], np.uint8)
        return _words(self.table)[values].ravel()


@lru_cache(maxsize=len(TABLES))
def _words(table: str) -> NDArray[np.uint8]:
    return np.array([[int(cell) for cell in word] for word in TABLES[table].split()], np.uint8)


@lru_cache(maxsize=len(TABLES))
def _trellis(table: str) -> WordTrellis:
    return two_level_trellis(_words(table), np.unpackbits(np.arange(16, dtype=np.uint8)[:, None], axis=1)[:, 4:])
