"""Skew: the right track late against the left, as a head that stands askew reads them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Self

import numpy as np

from ..contracts.channel_model import Calibration, ChannelModel
from ..contracts.parameters import parameter
from ..contracts.signal import Signal
from .draws import gaussian
from .reading import RATE_HZ, inner, phasor, tone

WANDER_HZ = (0.5, 2.0)
"""The wander's frequency is drawn evenly between these (modelling prior)."""

_KNOT_FRAMES = 64
_PROBE_HZ = 2000.0


@dataclass(frozen=True)
class Skew(ChannelModel):
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

    def degrade(self, signal: Signal, rng: np.random.Generator) -> Signal:
        skew_s = (self.skew_us + self.skew_us_sd * gaussian(rng)) * 1e-6
        hz, start = rng.uniform(*WANDER_HZ), rng.uniform(0.0, 2 * np.pi)
        swing_s = self.wander_us * 1e-6 / 2
        if signal.frames == 0 or (skew_s == 0 and swing_s == 0):
            return signal
        from ..kernels.warp import BLOCK_FRAMES, warp, weights

        rate = signal.sample_rate_hz
        knots = math.ceil(signal.frames / BLOCK_FRAMES) * (BLOCK_FRAMES // _KNOT_FRAMES) + 1
        places = np.arange(knots) * float(_KNOT_FRAMES)
        phase = 2 * np.pi * hz / rate * places + start
        positions = places - rate * (skew_s + swing_s * np.sin(phase))
        slopes = 1 - 2 * np.pi * hz * swing_s * np.cos(phase)
        out = np.empty_like(signal.samples)
        out[0] = signal.samples[0]
        right = signal.samples[1]
        warp(right, right, out[1], out[1], positions, slopes, _KNOT_FRAMES, weights())
        return Signal.owning(out, rate)

    @classmethod
    def calibrations(cls) -> tuple[Calibration, ...]:
        probe = tone(_PROBE_HZ, 6.0)
        reason = "interpolation noise 70 dB down turns the phase of a 2 kHz tone by 3e-4 rad at most: 0.03 us"
        wander = f"{reason}; the 2 ms steps of the reading take off 2e-5 of the wander, the 2 s of a period are covered"
        return (
            Calibration("skew_us", cls(skew_us=82.5), probe, _skew_us, 82.5, 0.05, reason),
            Calibration("skew_us", cls(skew_us=-17.0), probe, _skew_us, -17.0, 0.05, reason),
            Calibration("wander_us", cls(wander_us=11.3), probe, _wander_us, 11.3, 0.1, wander),
        )


def _skew_us(signal: Signal) -> float:
    left, right = (phasor(row, _PROBE_HZ, RATE_HZ) for row in inner(signal))
    return float(np.angle(left / right) / (2 * np.pi * _PROBE_HZ) * 1e6)


def _wander_us(signal: Signal) -> float:
    rows = inner(signal)
    step = RATE_HZ // 100
    pieces = [rows[:, at : at + step] for at in range(0, rows.shape[1] - step, step)]
    skews = [np.angle(phasor(left, _PROBE_HZ, RATE_HZ) / phasor(right, _PROBE_HZ, RATE_HZ)) for left, right in pieces]
    return float(np.ptp(skews) / (2 * np.pi * _PROBE_HZ) * 1e6)
