"""Hum: the mains and its harmonics."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Self

import numpy as np
from numpy.typing import NDArray

from ..contracts.channel_model import Calibration, Treatment
from ..contracts.parameters import parameter
from ..contracts.signal import Signal
from .reading import inner, silence

OFF_DB = -200.0
HARMONICS_DB = (0.0, -4.0, -6.0, -12.0, -12.0, -18.0, -18.0)
"""Each harmonic re the first: odd ones from stray fields, even ones from rectifiers (modelling prior)."""

_PIECE_FRAMES = 65_536


@dataclass(frozen=True)
class Hum(Treatment):
    """A fixed set of harmonics of the mains on both tracks; their phases are drawn for every tape."""

    name = "hum"
    summary = "mains hum and its harmonics"
    place = "replay"

    level_db: float = parameter(
        -60.0, "power of the whole re the 3 % level; -200 is none", unit="dB", low=OFF_DB, high=0.0
    )
    mains_hz: int = parameter(50, "frequency of the mains", unit="Hz", low=16, high=400)

    @classmethod
    def nothing(cls) -> Self:
        return cls(level_db=OFF_DB)

    @property
    def idle(self) -> bool:
        return self.level_db <= OFF_DB

    def treat(self, samples: NDArray[np.float32], sample_rate_hz: int, rng: np.random.Generator) -> None:
        phases = rng.uniform(0.0, 2 * np.pi, len(HARMONICS_DB))
        turning, peaks = _harmonics(self.mains_hz, sample_rate_hz)
        wave = np.sin(turning + phases[: len(turning), None])
        wave *= peaks * 10 ** (self.level_db / 20)
        frames = samples.shape[1]
        times = -(-min(frames, _PIECE_FRAMES) // turning.shape[1])
        shape = np.tile(wave.sum(axis=0, dtype=np.float32), times)
        for start in range(0, frames, shape.size):
            samples[:, start : start + shape.size] += shape[: min(shape.size, frames - start)]

    @classmethod
    def calibrations(cls) -> tuple[Calibration, ...]:
        reason = "whole periods of a fixed wave; single precision"
        return (
            Calibration("level_db", cls(level_db=-40.0), silence(2.0), _power_db, -40.0, 0.01, reason),
            Calibration("mains_hz", cls(mains_hz=60), silence(2.0), _mains_hz, 60.0, 0.6, "the bins are 0.56 Hz apart"),
        )


# At most 43 MB each, where the mains and the sample rate have no common factor.
@lru_cache(maxsize=2)
def _harmonics(mains_hz: int, sample_rate_hz: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Angles of the harmonics below half the sample rate, over a period of all, and their peaks re the whole; shapes
    (harmonics, frames) and (harmonics, 1).
    """
    # The mains and the sample rate come together again after this many frames.
    period = sample_rate_hz // math.gcd(sample_rate_hz, mains_hz)
    numbers = np.arange(1, len(HARMONICS_DB) + 1)
    known = numbers * mains_hz < sample_rate_hz / 2
    powers = 10 ** (np.array(HARMONICS_DB) / 10)
    angles = np.outer(2 * np.pi * numbers[known], mains_hz / sample_rate_hz * np.arange(period))
    return angles, np.sqrt(powers / powers.sum())[known, None]


def _power_db(signal: Signal) -> float:
    return float(10 * np.log10(np.mean(inner(signal) ** 2) / 0.5))


def _mains_hz(signal: Signal) -> float:
    row = inner(signal)[0]
    return float(np.argmax(np.abs(np.fft.rfft(row))) * signal.sample_rate_hz / row.size)
