"""Switching: what pins of a microcontroller must do to play a line code, where pins can.

A line code that is stretches of steady tone offers ``bursts``; one that is two levels in a row offers ``levels``. One
that is neither (many tones at once, many amplitudes) offers none, and only a sound output plays it. Every keyed line
code offers ``bursts``.
"""

from __future__ import annotations

from typing import Protocol, runtime_checkable

import numpy as np
from numpy.typing import NDArray

from .bits import Bits
from .keying import Burst


@runtime_checkable
class Toned(Protocol):
    """A line code of stretches of tone, each on one track."""

    def bursts(self, bits: Bits) -> tuple[Burst, ...]:
        """Every stretch, sorted by start; where one begins as another ends on a track, the phase runs on."""


@runtime_checkable
class Levelled(Protocol):
    """A line code of two levels, each as long as the other."""

    @property
    def level_rate_hz(self) -> float:
        """Levels a second."""

    def levels(self, bits: Bits) -> tuple[NDArray[np.int8], NDArray[np.int8]]:
        """The levels of either track from the first moment on, +1 and -1; empty for a track that is silent."""
