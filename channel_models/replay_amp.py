"""Replay amplifier: what the whole aligned chain passes, how loud, and which way up."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import NDArray

from ..contracts.channel_model import Calibration, Treatment
from ..contracts.parameters import parameter
from ..contracts.signal import Signal
from .band import Band, GainAt
from .level import Level
from .reading import RATE_HZ, inner, phasor, tone


@dataclass(frozen=True)
class ReplayAmp(Treatment):
    """The band of the chain with an aligned head and a new tape, a gain, a difference of the tracks and a polarity.

    One stage of a deck: ``band`` and ``level`` in one.
    """

    name = "replay_amp"
    summary = "band, gain, track difference and polarity of the replay chain"
    place = "replay"

    low_hz: float = parameter(40.0, "lower -3 dB point; 0 is off", unit="Hz", low=0.0, high=400.0)
    high_hz: float = parameter(12_500.0, "upper -3 dB point; 0 is off", unit="Hz", low=0.0, high=400_000.0)
    order: int = parameter(2, "order of each slope, 6 dB an octave each", low=1, high=8)
    gain_db: float = parameter(0.0, "gain of both tracks", unit="dB", low=-120.0, high=60.0)
    difference_db: float = parameter(0.0, "left over right", unit="dB", low=-40.0, high=40.0)
    difference_db_sd: float = parameter(
        0.0, "standard deviation of the difference, drawn anew for every tape", unit="dB", low=0.0, high=10.0
    )
    inverted_chance: float = parameter(0.0, "chance that both tracks are inverted; 1 is always", low=0.0, high=1.0)

    def check(self) -> None:
        _ = self.band

    @classmethod
    def nothing(cls) -> Self:
        return cls(low_hz=0.0, high_hz=0.0)

    @property
    def band(self) -> Band:
        """The frequencies that pass."""
        return Band(low_hz=self.low_hz, high_hz=self.high_hz, order=self.order)

    @property
    def level(self) -> Level:
        """How loud and which way up."""
        return Level(
            gain_db=self.gain_db,
            difference_db=self.difference_db,
            difference_db_sd=self.difference_db_sd,
            inverted_chance=self.inverted_chance,
        )

    @property
    def idle(self) -> bool:
        return self.band.idle and self.level.idle

    def treat(self, samples: NDArray[np.float32], sample_rate_hz: int, rng: np.random.Generator) -> None:
        self.band.treat_and_amplify(samples, sample_rate_hz, self.level.gains(rng))

    @classmethod
    def calibrations(cls) -> tuple[Calibration, ...]:
        reason = "the bilinear transform keeps the points; gains are right to single precision"
        half = 10 * math.log10(0.5)
        model = cls(low_hz=100.0, high_hz=8000.0)
        loud = cls(low_hz=0.0, high_hz=0.0, gain_db=-4.0, difference_db=3.0, inverted_chance=1.0)
        probe = tone(1000.0, 1.0)
        return (
            Calibration("low_hz", model, tone(100.0, 2.0), GainAt(100.0), half, 0.02, reason),
            Calibration("high_hz", model, tone(8000.0, 2.0), GainAt(8000.0), half, 0.02, reason),
            Calibration("gain_db", loud, probe, _mean_db, -4.0, 1e-3, reason),
            Calibration("difference_db", loud, probe, _difference_db, 3.0, 1e-3, reason),
            Calibration("inverted_chance", loud, probe, _sign, -1.0, 0.0, "a sign is exact"),
        )


def _peaks(signal: Signal) -> list[complex]:
    return [phasor(row, 1000.0, RATE_HZ) for row in inner(signal)]


def _mean_db(signal: Signal) -> float:
    left, right = (abs(peak) for peak in _peaks(signal))
    return 10 * math.log10(left * right / 0.25)


def _difference_db(signal: Signal) -> float:
    left, right = (abs(peak) for peak in _peaks(signal))
    return 20 * math.log10(left / right)


def _sign(signal: Signal) -> float:
    return float(np.mean([np.sign(peak.real) for peak in _peaks(signal)]))
