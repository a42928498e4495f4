"""MFM: a change in the middle of each 1, and one between two 0.

As bits of half a cell each, a data bit follows a clock bit, and the clock is 1 only between two data bits of 0 (clock =
NOR of the data before and after): common practice, and the published rule of modified frequency modulation.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import ClassVar

import numpy as np

from ...contracts.bits import Bits
from .nrzi import Nrzi
from .word_trellis import WordTrellis


@dataclass(frozen=True)
class Mfm(Nrzi):
    """Modified frequency modulation on one track, on both alike, or split over both."""

    name: ClassVar[str] = "mfm"
    summary: ClassVar[str] = "Self-clocking, one change a bit at most: twice the bits of biphase in the same band."
    trust: ClassVar[float] = 0.9

    @property
    def trellis(self) -> WordTrellis:
        return _trellis()

    def changes(self, bits: Bits) -> Bits:
        """Clock and data of each bit, shape (2 n,).

        >>> "".join(map(str, Mfm().changes(np.array([1, 0, 1, 0, 0, 1, 0, 1], np.uint8))))
        '0100010010010001'
        """
        before = np.concatenate((np.ones(1, np.uint8), bits[:-1]))
        return np.stack(((before | bits) ^ 1, bits), 1).ravel()


@lru_cache(maxsize=1)
def _trellis() -> WordTrellis:
    """States are level and last data bit: 2 * (level is high) + bit."""
    sources, targets, levels, bits = [], [], [], []
    for state in range(4):
        level, last = 2 * (state >> 1) - 1, state & 1
        for bit in (0, 1):
            first = level if last or bit else -level
            second = -first if bit else first
            sources.append(state)
            targets.append(2 * (second > 0) + bit)
            levels.append((first, second))
            bits.append((bit,))
    return WordTrellis(np.array(sources), np.array(targets), 4, np.array(levels, np.float64), np.array(bits, np.uint8))
