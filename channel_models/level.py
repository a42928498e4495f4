"""Level: gain, difference of the tracks, polarity."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import NDArray

from ..contracts.channel_model import PLACES, Calibration, Treatment
from ..contracts.parameters import parameter
from ..contracts.signal import Signal
from .draws import gaussian
from .reading import RATE_HZ, inner, phasor, tone

LOSS_DB_PER_PASS = 0.01
"""Each play wears and partly erases the tape: 2 dB in 200 plays (modelling prior)."""


@dataclass(frozen=True)
class Level(Treatment):
    """A gain for both tracks, a difference between them, and perhaps both turned upside down.

    Half the difference goes to each track: the left gets the upper half of a positive one. ``passes`` plays of the
    tape cost 0.01 dB each.
    """

    name = "level"
    summary = "gain, track level difference and polarity"

    gain_db: float = parameter(0.0, "gain of both tracks", unit="dB", low=-120.0, high=60.0)
    difference_db: float = parameter(0.0, "left over right", unit="dB", low=-40.0, high=40.0)
    difference_db_sd: float = parameter(
        0.0, "standard deviation of the difference, drawn anew for every tape", unit="dB", low=0.0, high=10.0
    )
    inverted_chance: float = parameter(0.0, "chance that both tracks are inverted; 1 is always", low=0.0, high=1.0)
    passes: int = parameter(0, "plays that the tape has had since", low=0, high=100_000)
    place: str = parameter("replay", "where the gain stands", choices=PLACES)  # type: ignore[misc]

    @classmethod
    def nothing(cls) -> Self:
        return cls()

    @property
    def idle(self) -> bool:
        return not any((self.gain_db, self.difference_db, self.difference_db_sd, self.inverted_chance, self.passes))

    def gains(self, rng: np.random.Generator) -> NDArray[np.float32]:
        """The factors of left and right, shape (2,)."""
        difference_db = self.difference_db + self.difference_db_sd * gaussian(rng)
        sign = -1.0 if rng.random() < self.inverted_chance else 1.0
        gain_db = self.gain_db - LOSS_DB_PER_PASS * self.passes
        halves_db = np.array([gain_db + difference_db / 2, gain_db - difference_db / 2])
        return (sign * 10 ** (halves_db / 20)).astype(np.float32)

    def treat(self, samples: NDArray[np.float32], sample_rate_hz: int, rng: np.random.Generator) -> None:
        for row, gain in zip(samples, self.gains(rng), strict=True):
            row *= gain

    @classmethod
    def calibrations(cls) -> tuple[Calibration, ...]:
        probe = tone(1000.0, 1.0)
        reason = "single precision: gains and samples are each right to 6e-8, far below 1e-4 dB"
        return (
            Calibration("gain_db", cls(gain_db=-4.0), probe, _gain_db, -4.0, 1e-4, reason),
            Calibration("passes", cls(passes=200), probe, _gain_db, -2.0, 1e-4, reason),
            Calibration("difference_db", cls(difference_db=3.0), probe, _difference_db, 3.0, 1e-4, reason),
            Calibration("inverted_chance", cls(inverted_chance=1.0), probe, _inverted, 1.0, 0.0, "a sign is exact"),
        )


def _peaks(signal: Signal) -> tuple[complex, complex]:
    left, right = inner(signal)
    return phasor(left, 1000.0, RATE_HZ), phasor(right, 1000.0, RATE_HZ)


def _gain_db(signal: Signal) -> float:
    left, right = _peaks(signal)
    return float(10 * np.log10(abs(left) * abs(right) / 0.25))


def _difference_db(signal: Signal) -> float:
    left, right = _peaks(signal)
    return float(20 * np.log10(abs(left) / abs(right)))


def _inverted(signal: Signal) -> float:
    return float(np.mean([peak.real < 0 for peak in _peaks(signal)]))
