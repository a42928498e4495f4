"""Saturation: the tape takes up only so much, and least of all at high frequencies."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from typing import Self

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..contracts.channel_model import Calibration, Treatment
from ..contracts.parameters import parameter
from ..contracts.signal import Signal
from .reading import RATE_HZ, inner, phasor, tone

LINE_UP_HZ = 315.0
HIGH_HZ = 10_000.0
THIRD_HARMONIC = 0.03
"""DIN 45500 has full level where the third harmonic is 3 % (secondary text): a sine of peak 1.0 at 315 Hz here."""

OFF_DB = -120.0


@dataclass(frozen=True)
class Saturation(Treatment):
    """Record pre-emphasis, a soft odd-order curve, and the replay that takes the pre-emphasis back.

    A small signal passes unchanged. Its drive is such that the third harmonic of the line-up tone is 3 %; the
    pre-emphasis, one corner of 6 dB an octave, is such that at 10 kHz no more than ``high_limit_db`` comes back however
    strong the recording. Harmonics beyond half the sample rate are lost.
    """

    name = "saturation"
    summary = "tape saturation, low at high frequencies"
    place = "record"

    drive_db: float = parameter(
        0.0, "how much harder the tape is driven than its 3 % level says; -120 is off", unit="dB", low=OFF_DB, high=40.0
    )
    high_limit_db: float = parameter(
        -11.0, "saturated output at 10 kHz re the 3 % level", unit="dB", low=-40.0, high=6.0
    )

    @classmethod
    def nothing(cls) -> Self:
        return cls(drive_db=OFF_DB)

    def at_best(self) -> Self:
        return self.nothing()

    @property
    def idle(self) -> bool:
        return self.drive_db <= OFF_DB

    def treat(self, samples: NDArray[np.float32], sample_rate_hz: int, rng: np.random.Generator) -> None:
        from ..kernels.saturation import halfway, saturate

        pole, drive = emphasis_and_drive(self.high_limit_db, sample_rate_hz)
        left, right = samples
        saturate(left, right, np.float32(drive * 10 ** (self.drive_db / 20)), np.float32(pole), halfway())

    @classmethod
    def calibrations(cls) -> tuple[Calibration, ...]:
        third = "the drive is solved for 3 % behind curve and replay; single precision adds below 1e-6"
        high = "a sine driven 30 dB over is a square wave within 0.1 dB; the half-band filter is 80 dB below that"
        probe = tone(LINE_UP_HZ, 2.0, 1.0, 1.0)
        loud = tone(HIGH_HZ, 1.0, 30.0, 30.0)
        return (
            Calibration("drive_db", cls(), probe, _third_percent, 3.0, 0.02, third),
            Calibration("high_limit_db", cls(), loud, _high_db, -11.0, 0.3, high),
            Calibration("high_limit_db", cls(high_limit_db=-8.0), loud, _high_db, -8.0, 0.3, high),
        )


@cache
def emphasis_and_drive(high_limit_db: float, sample_rate_hz: int) -> tuple[float, float]:
    """Pole of the inverse pre-emphasis, and the factor before the pre-emphasis.

    Each depends on the other: the replay takes down the third harmonic with the pre-emphasis, and the limit is that of
    a square wave behind the curve, 4 / pi, re the line-up tone.
    """
    high_hz = min(HIGH_HZ, 0.4 * sample_rate_hz)
    pole = 0.0
    for _ in range(12):
        low, harmonic = (abs(_emphasis(pole, hz, sample_rate_hz)) for hz in (LINE_UP_HZ, 3 * LINE_UP_HZ))
        peak = _peak_with_third(THIRD_HARMONIC * harmonic / low)
        lift_db = max(0.0, 20 * math.log10(4 / math.pi / peak) - high_limit_db)
        if high_hz < HIGH_HZ:
            # A rate without 10 kHz keeps the analogue corner.
            lift_db = 20 * math.log10(_lift(_corner_hz(lift_db), high_hz))
        pole = _pole(lift_db, high_hz, sample_rate_hz)
    return pole, peak / abs(_emphasis(pole, LINE_UP_HZ, sample_rate_hz))


def _peak_with_third(share: float) -> float:
    """The peak of a sine whose third harmonic behind the curve is that share of the first."""
    angles = 2 * np.pi * (np.arange(512) + 0.5) / 512
    wave = np.sin(angles)
    low, high = 0.1, 2.0
    for _ in range(50):
        peak = (low + high) / 2
        bent = curve(peak * wave)
        third = abs((bent * np.sin(3 * angles)).sum() / (bent * wave).sum())
        low, high = (peak, high) if third < share else (low, peak)
    return peak


def curve(x: ArrayLike) -> NDArray[np.float64]:
    """The soft law, as the kernel has it."""
    x = np.clip(x, -3.0, 3.0)
    return np.asarray(x * (27 + x * x) / (27 + 9 * x * x))


def _lift(corner_hz: float, frequency_hz: float) -> float:
    """Gain of the analogue pre-emphasis re the line-up tone."""
    return math.hypot(1.0, frequency_hz / corner_hz) / math.hypot(1.0, LINE_UP_HZ / corner_hz)


def _corner_hz(lift_db: float) -> float:
    """The corner with which 10 kHz is lifted by that much re the line-up tone."""
    square = 10 ** (lift_db / 10)
    over = square - 1
    return math.sqrt(max(HIGH_HZ**2 - square * LINE_UP_HZ**2, 1.0) / over) if over > 1e-12 else 1e9


def _emphasis(pole: float, frequency_hz: float, sample_rate_hz: int) -> complex:
    z = np.exp(-2j * np.pi * frequency_hz / sample_rate_hz)
    return complex((1 - pole * z) / (1 - pole))


def _pole(lift_db: float, high_hz: float, sample_rate_hz: int) -> float:
    low, high = 0.0, 1 - 1e-6
    for _ in range(60):
        pole = (low + high) / 2
        lift = abs(_emphasis(pole, high_hz, sample_rate_hz) / _emphasis(pole, LINE_UP_HZ, sample_rate_hz))
        low, high = (pole, high) if 20 * math.log10(lift) < lift_db else (low, pole)
    return pole


def _third_percent(signal: Signal) -> float:
    row = inner(signal)[0]
    return float(100 * abs(phasor(row, 3 * LINE_UP_HZ, RATE_HZ)) / abs(phasor(row, LINE_UP_HZ, RATE_HZ)))


def _high_db(signal: Signal) -> float:
    return float(20 * np.log10(abs(phasor(inner(signal)[0], HIGH_HZ, RATE_HZ))))
