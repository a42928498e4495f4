"""Skew: the right track late against the left, as a head that stands askew reads them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import NDArray

from ..contracts.channel_model import Calibration, Treatment
from ..contracts.parameters import parameter
from ..contracts.signal import Signal
from .draws import gaussian
from .reading import RATE_HZ, inner, phasor, tone

WANDER_HZ = (0.5, 2.0)
"""The wander's frequency is drawn evenly between these (modelling prior)."""

_KNOT_FRAMES = 64
_PIECE_BLOCKS = 32
_PROBE_HZ = 2000.0


@dataclass(frozen=True)
class Wander:
    """A slow sine, for what leans to and fro: between -1 and 1."""

    hz: float
    start_rad: float

    @classmethod
    def drawn(cls, rng: np.random.Generator) -> Self:
        return cls(float(rng.uniform(*WANDER_HZ)), float(rng.uniform(0.0, 2 * np.pi)))

    def at(self, times_s: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.asarray(np.sin(2 * np.pi * self.hz * times_s + self.start_rad))

    def slope(self, times_s: NDArray[np.float64]) -> NDArray[np.float64]:
        """Change a second."""
        w = 2 * np.pi * self.hz
        return np.asarray(w * np.cos(w * times_s + self.start_rad))


@dataclass(frozen=True)
class Skew(Treatment):
    """Delays the right track, or with a negative skew lets it lead; the left track is left alone.

    The delay is skew + a Gaussian draw + a slow sine of the given peak-to-peak size.
    """

    name = "skew"
    summary = "time between the tracks"
    place = "replay"

    skew_us: float = parameter(0.0, "right after left", unit="us", low=-5000.0, high=5000.0)
    skew_us_sd: float = parameter(
        0.0, "standard deviation of a further skew, drawn anew for every tape", unit="us", low=0.0, high=1000.0
    )
    wander_us: float = parameter(0.0, "slow change, peak to peak, at 0.5 to 2 Hz", unit="us", low=0.0, high=200.0)

    @classmethod
    def nothing(cls) -> Self:
        return cls()

    def treat(self, samples: NDArray[np.float32], sample_rate_hz: int, rng: np.random.Generator) -> None:
        skew_us = self.skew_us + self.skew_us_sd * gaussian(rng)
        delay(samples[1], sample_rate_hz, skew_us * 1e-6, self.wander_us * 1e-6 / 2, Wander.drawn(rng))

    @classmethod
    def calibrations(cls) -> tuple[Calibration, ...]:
        probe = tone(_PROBE_HZ, 6.0)
        reason = "interpolation noise 70 dB down turns the phase of a 2 kHz tone by 3e-4 rad at most: 0.03 us"
        wander = f"{reason}; the 2 ms steps of the reading take off 2e-5 of the wander, the 2 s of a period are covered"
        return (
            Calibration("skew_us", cls(skew_us=82.5), probe, skew_us_read, 82.5, 0.05, reason),
            Calibration("skew_us", cls(skew_us=-17.0), probe, skew_us_read, -17.0, 0.05, reason),
            Calibration("wander_us", cls(wander_us=11.3), probe, wander_us_read, 11.3, 0.1, wander),
        )


def delay(row: NDArray[np.float32], sample_rate_hz: int, still_s: float, swing_s: float, wander: Wander) -> None:
    """Delay one track in place by ``still_s`` and ``swing_s`` times the wander; before the tape there is silence."""
    from ..kernels.warp import BLOCK_FRAMES, shift, taps, warp, weights

    frames = row.size
    margin = math.ceil((abs(still_s) + abs(swing_s)) * sample_rate_hz) + 16
    piece_frames = _PIECE_BLOCKS * BLOCK_FRAMES
    source = np.zeros(piece_frames + 2 * margin, np.float32)
    heard = source.view()
    heard.flags.writeable = False
    even = None if swing_s else taps(still_s * sample_rate_hz)
    places = _KNOT_FRAMES * np.arange(piece_frames // _KNOT_FRAMES + 1, dtype=np.float64)
    for start in range(0, frames, piece_frames):
        source[:margin] = source[piece_frames : piece_frames + margin] if start else 0.0
        known = row[start : start + piece_frames + margin]
        source[margin : margin + known.size] = known
        source[margin + known.size :] = 0.0
        out = row[start : start + piece_frames]
        if even is not None:
            first, shares = even
            shift(heard[margin + first :], out, shares)
            continue
        times_s = (start + places) / sample_rate_hz
        positions = margin + places - sample_rate_hz * (still_s + swing_s * wander.at(times_s))
        slopes = 1 - swing_s * wander.slope(times_s)
        warp(heard, heard, out, out, positions, slopes, _KNOT_FRAMES, weights())


def skew_us_read(signal: Signal) -> float:
    """Time from left to right, read off a tone of 2 kHz."""
    left, right = (phasor(row, _PROBE_HZ, RATE_HZ) for row in inner(signal))
    return float(np.angle(left / right) / (2 * np.pi * _PROBE_HZ) * 1e6)


def wander_us_read(signal: Signal) -> float:
    """How far that time wanders, peak to peak."""
    rows = inner(signal)
    step = RATE_HZ // 100
    pieces = [rows[:, at : at + step] for at in range(0, rows.shape[1] - step, step)]
    skews = [np.angle(phasor(left, _PROBE_HZ, RATE_HZ) / phasor(right, _PROBE_HZ, RATE_HZ)) for left, right in pieces]
    return float(np.ptp(skews) / (2 * np.pi * _PROBE_HZ) * 1e6)
