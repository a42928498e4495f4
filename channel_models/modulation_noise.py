"""Modulation noise: the graininess of the coat, heard only with the signal."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import NDArray

from ..contracts.channel_model import Calibration, Treatment
from ..contracts.parameters import parameter
from ..contracts.signal import Signal
from .reading import RATE_HZ, inner, tone
from .smooth_noise import EXTRA, WHITE_POWER

OFF_DB = -200.0
_PROBE_HZ = 3000.0


@dataclass(frozen=True)
class ModulationNoise(Treatment):
    """Each track is multiplied by one plus Gaussian noise of its own.

    The noise lies about each component of the signal, with an equivalent bandwidth of ``width_hz`` in all: common
    practice has it within some hundred Hz of a tone, 35 to 50 dB below it.
    """

    name = "modulation_noise"
    summary = "noise that comes and goes with the signal"
    place = "tape"

    level_db: float = parameter(
        -38.0, "total power re the signal, of each component; -200 is none", unit="dB", low=OFF_DB, high=0.0
    )
    width_hz: float = parameter(500.0, "width about each component", unit="Hz", low=1.0, high=2000.0)

    @classmethod
    def nothing(cls) -> Self:
        return cls(level_db=OFF_DB)

    @property
    def idle(self) -> bool:
        return self.level_db <= OFF_DB

    def treat(self, samples: NDArray[np.float32], sample_rate_hz: int, rng: np.random.Generator) -> None:
        from ..kernels.modulation import modulate

        # White coefficients on a grid of this rate have the asked equivalent bandwidth once they are a spline.
        grid_hz = min(self.width_hz / WHITE_POWER, sample_rate_hz / 2)
        per_frame = grid_hz / sample_rate_hz
        deviation = 10 ** (self.level_db / 20) / math.sqrt(WHITE_POWER)
        drawn = rng.standard_normal((math.ceil(samples.shape[1] * per_frame) + EXTRA, 2), np.float32).T
        coefficients = np.ascontiguousarray(drawn)
        coefficients *= np.float32(deviation)
        for row, noise in zip(samples, coefficients, strict=True):
            modulate(row, noise, per_frame, 0.0)

    @classmethod
    def calibrations(cls) -> tuple[Calibration, ...]:
        reason = (
            "noise of 500 Hz over 20 s on two tracks has a relative standard error of sqrt(1 / 20,000) = 0.7 %: 6 of "
            "them are 0.19 dB; the tone itself is taken out within 1 Hz, which takes 0.3 % of the noise along"
        )
        return (Calibration("level_db", cls(), tone(_PROBE_HZ, 20.2), _noise_re_tone_db, -38.0, 0.2, reason),)


def _noise_re_tone_db(signal: Signal) -> float:
    rows = inner(signal)
    spectrum = np.abs(np.fft.rfft(rows * np.hanning(rows.shape[1]))) ** 2
    hz = np.fft.rfftfreq(rows.shape[1], 1 / RATE_HZ)
    carrier = np.abs(hz - _PROBE_HZ) < 1
    about = (np.abs(hz - _PROBE_HZ) < 2000) & ~carrier
    return float(10 * np.log10(spectrum[:, about].sum() / spectrum[:, carrier].sum()))
