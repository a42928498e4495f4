"""How strong a recording is: what a capacity is reckoned at."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Self

import numpy as np

from ..contracts.signal import Signal

_AT_ONCE = 1 << 18
"""Frames whose squares are summed in single precision before they join the rest."""


@dataclass(frozen=True, slots=True)
class Strength:
    """Of a recording, re full scale.

    Attributes:
        powers: mean square of the left and of the right track, from the first sound on either to the last.
        peak: greatest magnitude on either.
    """

    powers: tuple[float, float]
    peak: float

    @classmethod
    def of(cls, recording: Signal) -> Self:
        """The strength of ``recording``.

        >>> Strength.of(Signal([[0, 1, -1, 0], [0, 0.5, 0, 0]], 8000))
        Strength(powers=(1.0, 0.125), peak=1.0)
        """
        samples = recording.samples
        sounding = np.flatnonzero(samples.any(axis=0))
        if sounding.size == 0:
            return cls((0.0, 0.0), 0.0)
        sound = samples[:, sounding[0] : sounding[-1] + 1]
        pieces = [sound[:, first : first + _AT_ONCE] for first in range(0, sound.shape[1], _AT_ONCE)]
        left, right = (sum(float(np.dot(piece[track], piece[track])) for piece in pieces) for track in (0, 1))
        peak = max(float(np.abs(piece).max()) for piece in pieces)
        return cls((left / sound.shape[1], right / sound.shape[1]), peak)

    @property
    def sine_peak(self) -> float:
        """Of a sine that is neither stronger than the louder track nor has higher peaks than the recording."""
        return min(self.peak, float(np.sqrt(2 * max(self.powers))))


FULL_SCALE_SINE = Strength((0.5, 0.5), 1.0)
"""A sine of peak 1 on both tracks."""
