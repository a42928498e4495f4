"""Pulse width: every bit is a long and a short pulse, and which comes first says what it is.

A bit begins with a change of level, and another stands nearer its end for a 1 (long, short) or nearer its beginning for
a 0 (short, long). A decoder with a timer and no more compares the two pulses of each bit: no speed and no polarity need
be known. All bits last as long. The price is noise: the two
words differ by one short pulse only, a third of the energy.
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


@dataclass(frozen=True)
class PulseWidth(Nrzi):
    """A long and a short pulse a bit, on one track, on both alike, or split over both."""

    name: ClassVar[str] = "pulse_width"
    summary: ClassVar[str] = "A long and a short pulse for each bit, in one order or the other: a timer can read it."
    trust: ClassVar[float] = 0.9

    ratio: int = parameter(2, "Length of a long pulse in short ones.", choices=(2, 3))

    @property
    def trellis(self) -> WordTrellis:
        return _trellis(self.ratio)

    def changes(self, bits: Bits) -> Bits:
        """Cells of a short pulse's length, as many as a short and a long pulse hold for each bit.

        >>> PulseWidth().changes(np.array([0, 1], np.uint8)).tolist()
        [1, 1, 0, 1, 0, 1]
        """
        return _words(self.ratio)[bits].ravel()


def _words(ratio: int) -> NDArray[np.uint8]:
    words = np.zeros((2, ratio + 1), np.uint8)
    words[:, 0] = words[0, 1] = words[1, ratio] = 1
    return words


@lru_cache(maxsize=2)
def _trellis(ratio: int) -> WordTrellis:
    return two_level_trellis(_words(ratio), np.arange(2, dtype=np.uint8)[:, None])
