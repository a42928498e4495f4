"""Crosstalk: each track heard on the other."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Self

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..contracts.channel_model import Calibration, Treatment
from ..contracts.errors import UsageError
from ..contracts.parameters import parameter
from ..contracts.signal import Signal
from .reading import RATE_HZ, inner, phasor, tone

OFF_DB = 200.0
REFERENCE_HZ = 1000.0
"""DIN 45500 states separation here."""

LEAST_LOW_SHARE = 1 / 6
MOST_HIGH_TIMES = 4.0
"""Below ``low_hz`` and above ``high_hz`` separation falls by 6 dB an octave, down to and up to these times them.

Low tones are picked up beside the track, high ones pass between the coils and leads (common practice).
"""


@dataclass(frozen=True)
class Crosstalk(Treatment):
    """The neighbour track, equally strong in both directions; in phase around 1 kHz."""

    name = "crosstalk"
    summary = "each track heard on the other"
    place = "replay"

    separation_db: float = parameter(
        30.0,
        "how far below its own track the neighbour is at 1 kHz; 200 is not at all",
        unit="dB",
        low=0.0,
        high=OFF_DB,
    )
    low_hz: float = parameter(150.0, "below this it grows; 0 is nowhere", unit="Hz", low=0.0, high=900.0)
    high_hz: float = parameter(6000.0, "above this it grows; 0 is nowhere", unit="Hz", low=0.0, high=100_000.0)

    def check(self) -> None:
        if 0 < self.high_hz <= self.low_hz:
            raise UsageError(
                f"crosstalk: parameter 'high_hz' must be above 'low_hz' ({self.low_hz:g} Hz) or 0, "
                f"not {self.high_hz:g}."
            )

    @classmethod
    def nothing(cls) -> Self:
        return cls(separation_db=OFF_DB)

    @property
    def idle(self) -> bool:
        return self.separation_db >= OFF_DB

    def share(self, frequency_hz: ArrayLike) -> NDArray[np.float64]:
        """How strong the neighbour is, as a factor of amplitude."""
        found = np.abs(self._shape(1j * np.asarray(frequency_hz))) / abs(self._shape(1j * np.array(REFERENCE_HZ)))
        return np.asarray(10 ** (-self.separation_db / 20) * found)

    def _shape(self, s_hz: NDArray[np.complex128]) -> NDArray[np.complex128]:
        found = np.ones_like(s_hz)
        if self.low_hz:
            found *= (s_hz + self.low_hz) / (s_hz + self.low_hz * LEAST_LOW_SHARE)
        if self.high_hz:
            found *= (1 + s_hz / self.high_hz) / (1 + s_hz / (self.high_hz * MOST_HIGH_TIMES))
        return found

    def coefficients(self, sample_rate_hz: int) -> NDArray[np.float64]:
        """b0, b1, b2, a1, a2: roots carried over one by one, right at 1 kHz, 0.3 dB off at 10 kHz of 44.1 kHz."""
        zeros, poles = np.ones(1), np.ones(1)
        for zero_hz, pole_hz in (
            (self.low_hz, self.low_hz * LEAST_LOW_SHARE),
            (self.high_hz, self.high_hz * MOST_HIGH_TIMES),
        ):
            if zero_hz:
                zeros, poles = (
                    np.convolve(row, _corner(hz, sample_rate_hz)) for row, hz in ((zeros, zero_hz), (poles, pole_hz))
                )
        zeros, poles = (np.pad(row, (0, 3 - row.size)) for row in (zeros, poles))
        z = np.exp(-2j * np.pi * min(REFERENCE_HZ, sample_rate_hz / 4) / sample_rate_hz) ** np.arange(3)
        zeros = zeros * float(self.share(REFERENCE_HZ)) * abs((poles @ z) / (zeros @ z))
        return np.array([*zeros, *poles[1:]])

    def treat(self, samples: NDArray[np.float32], sample_rate_hz: int, rng: np.random.Generator) -> None:
        from ..kernels.filters import add_across

        left, right = samples
        add_across(left, right, _section(self, sample_rate_hz))

    @classmethod
    def calibrations(cls) -> tuple[Calibration, ...]:
        reason = "the section is right at 1 kHz; single precision: 1e-5 of the neighbour's peak"
        even = cls(separation_db=30.0, low_hz=0.0, high_hz=0.0)
        return (
            Calibration("separation_db", cls(), tone(1000.0, 1.0, right=0.0), _left_over_right_db, 30.0, 1e-2, reason),
            Calibration("separation_db", even, tone(6300.0, 1.0, left=0.0), _right_over_left_db, 30.0, 1e-3, reason),
        )


@lru_cache(maxsize=16)
def _section(model: Crosstalk, sample_rate_hz: int) -> NDArray[np.float64]:
    if model.low_hz or model.high_hz:
        found = model.coefficients(sample_rate_hz)
    else:
        found = np.array([float(np.float32(model.share(REFERENCE_HZ))), 0.0, 0.0, 0.0, 0.0])
    found.flags.writeable = False
    return found


def _corner(hz: float, sample_rate_hz: int) -> NDArray[np.float64]:
    """(1 + s / corner) with its root carried over to exp(s / rate)."""
    return np.array([1.0, -math.exp(-2 * math.pi * hz / sample_rate_hz)])


def _left_over_right_db(signal: Signal) -> float:
    left, right = (abs(phasor(row, 1000.0, RATE_HZ)) for row in inner(signal))
    return float(20 * np.log10(left / right))


def _right_over_left_db(signal: Signal) -> float:
    left, right = (abs(phasor(row, 6300.0, RATE_HZ)) for row in inner(signal))
    return float(20 * np.log10(right / left))
