"""Clip: the sound input ends at full scale."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import NDArray

from ..contracts.channel_model import Calibration, Treatment
from ..contracts.parameters import parameter
from ..contracts.signal import Signal
from .reading import tone


@dataclass(frozen=True)
class Clip(Treatment):
    """Whatever goes beyond the ceiling stays at the ceiling."""

    name = "clip"
    summary = "hard clipping at the sound input"
    place = "capture"

    ceiling: float = parameter(1.0, "largest magnitude that passes, re full scale; 0 is off", low=0.0, high=1e6)

    @classmethod
    def nothing(cls) -> Self:
        return cls(ceiling=0.0)

    def at_best(self) -> Self:
        return self.nothing()

    @property
    def idle(self) -> bool:
        return self.ceiling == 0.0

    def treat(self, samples: NDArray[np.float32], sample_rate_hz: int, rng: np.random.Generator) -> None:
        ceiling = np.float32(self.ceiling)
        np.clip(samples, -ceiling, ceiling, out=samples)

    @classmethod
    def calibrations(cls) -> tuple[Calibration, ...]:
        reason = "single precision: 0.4 is stored within 6e-9 of itself"
        return (Calibration("ceiling", cls(ceiling=0.4), tone(1000.0, 0.5, 0.9, 0.9), _peak, 0.4, 1e-7, reason),)


def _peak(signal: Signal) -> float:
    return float(np.abs(signal.samples).max(axis=1).min())
