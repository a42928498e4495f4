"""Equalisation: recorded for one kind of tape and replayed for another."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..contracts.channel_model import Calibration, Treatment
from ..contracts.parameters import parameter
from ..contracts.signal import Signal
from .reading import RATE_HZ, inner, phasor, tone

LOW_US = 3180.0
"""IEC 60094-1: 3180 us and 120 us for type I, 3180 us and 70 us for types II and IV (as reported by Hess, 2006)."""

_PROBE_HZ = 6300.0


@dataclass(frozen=True)
class Equalisation(Treatment):
    """The replay amplifier takes back another time constant than the recording was made with.

    The low-frequency one, 3180 us, is the same for all kinds of tape and cancels.
    """

    name = "equalisation"
    summary = "mismatch of the equalisation switches"
    place = "record"

    recorded_us: float = parameter(120.0, "time constant of the recording", unit="us", low=10.0, high=1000.0)
    replayed_us: float = parameter(120.0, "time constant of the replay", unit="us", low=10.0, high=1000.0)

    @classmethod
    def nothing(cls) -> Self:
        return cls()

    @property
    def idle(self) -> bool:
        return self.recorded_us == self.replayed_us

    def treat(self, samples: NDArray[np.float32], sample_rate_hz: int, rng: np.random.Generator) -> None:
        from ..kernels.filters import STATE, section

        left, right = samples
        section(left, right, self.coefficients(sample_rate_hz), np.zeros(STATE))

    def coefficients(self, sample_rate_hz: int) -> NDArray[np.float64]:
        """b0, b1, b2, a1, a2 of (1 + s replayed) / (1 + s recorded), each corner kept in place."""
        zero, pole = (
            2 * sample_rate_hz * us * 1e-6 / _bend(us, sample_rate_hz) for us in (self.replayed_us, self.recorded_us)
        )
        scale = 1 / (1 + pole)
        return np.array([(1 + zero) * scale, (1 - zero) * scale, 0.0, (1 - pole) * scale, 0.0])

    @classmethod
    def calibrations(cls) -> tuple[Calibration, ...]:
        reason = "the bilinear transform keeps both corners; at 6.3 kHz it is 0.05 dB off the analogue network"
        probe = tone(_PROBE_HZ, 1.0)
        return (
            Calibration("recorded_us", cls(recorded_us=70.0), probe, _gain_db, 4.338, 0.1, reason),
            Calibration("replayed_us", cls(replayed_us=70.0), probe, _gain_db, -4.338, 0.1, reason),
        )


def flux_db(frequency_hz: ArrayLike, high_us: float, low_us: float = LOW_US) -> NDArray[np.float64]:
    """Flux on the tape for a constant input, by the standard's two time constants.

    >>> round(float(flux_db(10_000.0, 120.0)), 3)
    -17.623
    """
    w = 2e-6 * np.pi * np.asarray(frequency_hz, np.float64)
    return np.asarray(10 * np.log10(1 + 1 / (w * low_us) ** 2) - 10 * np.log10(1 + (w * high_us) ** 2))


def _bend(us: float, sample_rate_hz: int) -> float:
    """How far the bilinear transform would move the corner, so as to take it back."""
    half_angle = min(1e6 / (2 * us * sample_rate_hz), 1.5)
    return math.tan(half_angle) / half_angle


def _gain_db(signal: Signal) -> float:
    return float(20 * np.log10(np.mean([abs(phasor(row, _PROBE_HZ, RATE_HZ)) for row in inner(signal)]) / 0.5))
