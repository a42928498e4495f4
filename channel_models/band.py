"""Band: what the chain passes."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..contracts.channel_model import Calibration, Treatment
from ..contracts.errors import UsageError
from ..contracts.parameters import parameter
from ..contracts.signal import Signal
from .reading import RATE_HZ, inner, phasor, tone

NEAREST_TO_HALF_RATE = 0.98
"""A point nearer to half the sample rate than this is left out: the sample rate itself is the limit there."""


@dataclass(frozen=True)
class Band(Treatment):
    """Butterworth slopes of the same order at both ends, each 3.01 dB down at its point.

    Each slope is the analogue Butterworth filter of that order, 6 dB an octave for each order, carried over by the
    bilinear transform with its point kept in place.
    """

    name = "band"
    summary = "the band that the chain passes"
    place = "replay"

    low_hz: float = parameter(40.0, "lower -3 dB point; 0 is off", unit="Hz", low=0.0, high=400.0)
    high_hz: float = parameter(12_500.0, "upper -3 dB point; 0 is off", unit="Hz", low=0.0, high=400_000.0)
    order: int = parameter(2, "order of each slope, 6 dB an octave each", low=1, high=8)

    def check(self) -> None:
        if 0 < self.high_hz <= self.low_hz:
            raise UsageError(
                f"band: parameter 'high_hz' must be above 'low_hz' ({self.low_hz:g} Hz) or 0, not {self.high_hz:g}."
            )

    @classmethod
    def nothing(cls) -> Self:
        return cls(low_hz=0.0, high_hz=0.0)

    @property
    def idle(self) -> bool:
        return not self.low_hz and not self.high_hz

    def treat(self, samples: NDArray[np.float32], sample_rate_hz: int, rng: np.random.Generator) -> None:
        self.treat_and_amplify(samples, sample_rate_hz, np.ones(2, np.float32))

    def treat_and_amplify(self, samples: NDArray[np.float32], sample_rate_hz: int, gains: NDArray[np.float32]) -> None:
        """Filter in place, then multiply each track by its gain, shape (2,)."""
        from ..kernels.filters import cascade

        left, right = samples
        cascade(left, right, slopes(self.low_hz, self.high_hz, self.order, sample_rate_hz), gains)

    @classmethod
    def calibrations(cls) -> tuple[Calibration, ...]:
        reason = (
            "the bilinear transform keeps the point; what is left is the other slope (below 0.01 dB a decade away) and "
            "the reading of the tone (below 0.01 dB)"
        )
        half = 10 * math.log10(0.5)
        model = cls(low_hz=100.0, high_hz=8000.0)
        return (
            Calibration("low_hz", model, tone(100.0, 2.0), GainAt(100.0), half, 0.02, reason),
            Calibration("high_hz", model, tone(8000.0, 2.0), GainAt(8000.0), half, 0.02, reason),
        )


def slopes(low_hz: float, high_hz: float, order: int, sample_rate_hz: int) -> NDArray[np.float64]:
    """Coefficients b0, b1, b2, a1, a2 (a0 = 1) of every section, the high-pass's first; shape (sections, 5)."""
    rows = []
    if _passes(low_hz, sample_rate_hz):
        rows += [_section(q, low_hz, sample_rate_hz, high_pass=True) for q in _dampings(order)]
    if _passes(high_hz, sample_rate_hz):
        rows += [_section(q, high_hz, sample_rate_hz, high_pass=False) for q in _dampings(order)]
    return np.array(rows).reshape(-1, 5)


def gain(sections: NDArray[np.float64], frequency_hz: ArrayLike, sample_rate_hz: int) -> NDArray[np.float64]:
    """Amplitude of what the sections pass."""
    z = np.exp(-2j * np.pi * np.asarray(frequency_hz) / sample_rate_hz)
    found = np.ones(z.shape)
    for b0, b1, b2, a1, a2 in sections:
        found = found * np.abs((b0 + (b1 + b2 * z) * z) / (1 + (a1 + a2 * z) * z))
    return found


def _passes(point_hz: float, sample_rate_hz: int) -> bool:
    return 0 < point_hz < NEAREST_TO_HALF_RATE * sample_rate_hz / 2


class GainAt:
    """Reads the gain of a tone of peak 0.5; a class so that it can be pickled."""

    def __init__(self, frequency_hz: float) -> None:
        self.frequency_hz = frequency_hz

    def __call__(self, signal: Signal) -> float:
        peaks = [abs(phasor(row, self.frequency_hz, RATE_HZ)) for row in inner(signal)]
        return float(20 * np.log10(np.mean(peaks) / 0.5))


def _dampings(order: int) -> list[float | None]:
    """1/Q of each pair of Butterworth poles; None for the single one of an odd order."""
    pairs: list[float | None] = [2 * math.sin(math.pi * (2 * k + 1) / (2 * order)) for k in range(order // 2)]
    return [*pairs, None] if order % 2 else pairs


def _section(damping: float | None, point_hz: float, sample_rate_hz: int, *, high_pass: bool) -> list[float]:
    """One section by the bilinear transform, its point kept (prewarped)."""
    w = math.tan(math.pi * point_hz / sample_rate_hz)
    if damping is None:
        scale = 1 / (1 + w)
        b0, b1 = (scale, -scale) if high_pass else (w * scale, w * scale)
        return [b0, b1, 0.0, (w - 1) * scale, 0.0]
    scale = 1 / (1 + damping * w + w * w)
    gain = scale if high_pass else w * w * scale
    side = -2 * gain if high_pass else 2 * gain
    return [gain, side, gain, 2 * (w * w - 1) * scale, (1 - damping * w + w * w) * scale]
