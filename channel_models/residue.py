"""Residue: what the erase head left of an earlier recording."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from typing import Self

import numpy as np
from numpy.typing import NDArray

from ..contracts.channel_model import Calibration, Treatment
from ..contracts.parameters import parameter
from ..contracts.signal import Signal
from .band import gain, slopes
from .draws import words
from .hiss import HIGHEST_HZ, LOWEST_HZ, SINE_POWER
from .reading import inner, silence
from .smooth_noise import EXTRA, WHITE_POWER

OFF_DB = -200.0
SPEECH_HZ = (150.0, 1500.0)
"""Where speech and music have most of their power (modelling prior)."""

SYLLABLES_HZ = 4.0
SWING = 0.5
"""Rms change of the earlier recording's loudness, re its mean (modelling prior)."""

_PASSES_ALL = np.array([1.0, 0.0, 0.0, 0.0, 0.0])


@dataclass(frozen=True)
class Residue(Treatment):
    """Noise with the spectrum and the rhythm of speech, the same in strength whatever is recorded over it.

    A sample rate with no room for the upper slope goes without: there the level is that of what is left of the band.
    """

    name = "residue"
    summary = "remains of an earlier recording"
    place = "tape"

    level_db: float = parameter(-50.0, "power re the 3 % level; -200 is none", unit="dB", low=OFF_DB, high=0.0)

    @classmethod
    def nothing(cls) -> Self:
        return cls(level_db=OFF_DB)

    @property
    def idle(self) -> bool:
        return self.level_db <= OFF_DB

    def treat(self, samples: NDArray[np.float32], sample_rate_hz: int, rng: np.random.Generator) -> None:
        from ..kernels.swelling_noise import add_swelling_noise

        key_0, key_1, upper_0, upper_1 = (np.uint64(word) for word in words(rng, 4))
        left, right = samples
        per_frame = SYLLABLES_HZ / sample_rate_hz
        coefficients, power_hz = _speech(sample_rate_hz)
        power = SINE_POWER * 10 ** (self.level_db / 10) / (1 + SWING**2)
        sigma = np.float32(math.sqrt(power * sample_rate_hz / 2 / power_hz))
        swings = rng.standard_normal((math.ceil(left.size * per_frame) + EXTRA, 2), np.float32).T * np.float32(
            SWING / math.sqrt(WHITE_POWER)
        )
        loudness = np.ascontiguousarray(swings)
        add_swelling_noise(left, right, key_0, key_1, upper_0, upper_1, sigma, coefficients, loudness, per_frame)

    @classmethod
    def calibrations(cls) -> tuple[Calibration, ...]:
        reason = (
            "the loudness changes some 4 times a second with a power of 1 + 0.25, whose standard deviation is about 1: "
            "over 100 s and two tracks s.e. 3.5 %, five of them 0.75 dB"
        )
        return (Calibration("level_db", cls(level_db=-40.0), silence(100.0), _power_db, -40.0, 0.75, reason),)


@cache
def _speech(sample_rate_hz: int) -> tuple[NDArray[np.float64], float]:
    """Both first-order slopes in one section, and its power gain integrated over the audible band, in Hz."""
    # A slope too near to half the sample rate is none.
    high_pass, low_pass = [*slopes(*SPEECH_HZ, 1, sample_rate_hz), _PASSES_ALL][:2]
    numerator = np.convolve(high_pass[:2], low_pass[:2])
    denominator = np.convolve([1.0, high_pass[3]], [1.0, low_pass[3]])
    coefficients = np.array([*numerator, *denominator[1:]])
    hz = np.linspace(LOWEST_HZ, min(HIGHEST_HZ, sample_rate_hz / 2), 8001)
    return coefficients, float(np.trapezoid(gain(coefficients[None], hz, sample_rate_hz) ** 2, hz))


def _power_db(signal: Signal) -> float:
    return float(10 * np.log10(np.mean(inner(signal) ** 2) / SINE_POWER))
