"""Hiss: Gaussian noise of the tape and of the replay amplifier, independent on both tracks."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import NDArray

from ..contracts.channel_model import Calibration, Treatment
from ..contracts.parameters import parameter
from .draws import words
from .reading import band_level_db, silence

LOWEST_HZ = 20.0
HIGHEST_HZ = 20_000.0
SINE_POWER = 0.5
"""Mean square of the 3 % level, a sine of peak 1.0."""

OFF_DB = -200.0
_RISE_S = 120e-6
_LEVELS_S = 15e-6
_PIECE_BLOCKS = 8


@dataclass(frozen=True)
class Hiss(Treatment):
    """White or replay-shaped Gaussian noise, absolute: independent of the signal and of the sample rate.

    The level is the power between 20 Hz and 20 kHz. ``flat`` has one density at all frequencies up to half the
    sample rate. ``replay`` is white flux noise behind the replay equalisation of the 120 us time constant
    (IEC 60094-1): it rises by 6 dB an octave from 1,326 Hz and levels off at 10.6 kHz (15 us, a modelling prior for
    what thickness and gap take away).
    """

    name = "hiss"
    summary = "Gaussian noise on both tracks"

    level_db: float = parameter(
        -46.0,
        "noise power from 20 Hz to 20 kHz re the 3 % level; -200 is none",
        unit="dB",
        low=OFF_DB,
        high=20.0,
    )
    shape: str = parameter("flat", "spectrum of the noise", choices=("flat", "replay"))
    place: str = parameter(  # type: ignore[misc]
        "tape", "where it is added: on the tape, or in the replay amplifier", choices=("tape", "replay")
    )

    @classmethod
    def nothing(cls) -> Self:
        return cls(level_db=OFF_DB)

    def deviation(self, sample_rate_hz: int) -> float:
        """Standard deviation of a sample of white noise, before any shaping, in units of full scale."""
        power = SINE_POWER * 10 ** (self.level_db / 10)
        if self.shape == "replay":
            power /= _shaped_power(sample_rate_hz)
        else:
            power /= HIGHEST_HZ - LOWEST_HZ
        return math.sqrt(power * sample_rate_hz / 2)

    @property
    def idle(self) -> bool:
        return self.level_db <= OFF_DB

    def treat(self, samples: NDArray[np.float32], sample_rate_hz: int, rng: np.random.Generator) -> None:
        from ..kernels.noise import BLOCK_FRAMES, add_noise

        key_0, key_1, upper_0, upper_1 = (np.uint64(word) for word in words(rng, 4))
        sigma = np.float32(self.deviation(sample_rate_hz))
        left, right = samples
        if self.shape == "flat":
            add_noise(left, right, 0, key_0, key_1, upper_0, upper_1, sigma)
            return

        from ..kernels.filters import STATE, section

        coefficients = _shaping(sample_rate_hz)
        state = np.zeros(STATE)
        piece_frames = _PIECE_BLOCKS * BLOCK_FRAMES
        noise = np.empty((2, piece_frames), np.float32)
        for start in range(0, samples.shape[1], piece_frames):
            piece = samples[:, start : start + piece_frames]
            noise[:] = 0.0
            add_noise(noise[0], noise[1], start // BLOCK_FRAMES, key_0, key_1, upper_0, upper_1, sigma)
            section(noise[0], noise[1], coefficients, state)
            piece += noise[:, : piece.shape[1]]

    @classmethod
    def calibrations(cls) -> tuple[Calibration, ...]:
        probe = silence(20.0)
        reason = (
            "the power of a band B in T s has a relative standard error of sqrt(1 / (B T)): 0.16 % for 20 kHz, 20 s; "
            "the replay shape has an effective B above 5 kHz: 0.32 %, and 6 s.e. of either are below 0.1 dB"
        )
        return tuple(
            Calibration("level_db", model, probe, band_level_db, model.level_db, 0.1, reason)
            for model in (cls(level_db=-46.0), cls(level_db=-30.0, shape="replay"))
        )


def _shaping(sample_rate_hz: int) -> NDArray[np.float64]:
    """The replay shape as one section: (1 + s rise) / (1 + s levels) by the bilinear transform."""
    rise, levels = 2 * sample_rate_hz * _RISE_S, 2 * sample_rate_hz * _LEVELS_S
    scale = 1 / (1 + levels)
    return np.array([(1 + rise) * scale, (1 - rise) * scale, 0.0, (1 - levels) * scale, 0.0])


def _shaped_power(sample_rate_hz: int) -> float:
    """The replay shape's power gain integrated over 20 Hz to 20 kHz (or half the sample rate), in Hz."""
    edges = np.linspace(LOWEST_HZ, min(HIGHEST_HZ, sample_rate_hz / 2), 4001)
    middles = (edges[:-1] + edges[1:]) / 2
    b0, b1, _, a1, _ = _shaping(sample_rate_hz)
    z = np.exp(-2j * np.pi * middles / sample_rate_hz)
    gain = np.abs((b0 + b1 * z) / (1 + a1 * z)) ** 2
    return float((gain * np.diff(edges)).sum())
