"""Drift: the speed of the tape, how far it is off and how it wavers."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from typing import Self

import numpy as np
from numpy.typing import NDArray

from ..contracts.channel_model import Calibration, ChannelModel
from ..contracts.errors import UsageError
from ..contracts.parameters import parameter
from ..contracts.signal import Signal
from .band import Band
from .reading import RATE_HZ, frequency_hz, inner, tone

PHASE_GRID_HZ = 4
NOISE_GRID_HZ = 256
"""How often a second the phases of wow and flutter and the smooth noise are drawn, whatever the sample rate.

Between the draws they are the cubic B-spline of the drawn numbers, so that the speed has no kinks.
"""

KNOTS_HZ = 600
"""The read position is worked out at least this often a second: 15 times a period of the fastest noise."""

PHASE_WALK_RAD = 0.3
"""Standard deviation of the phase of wow and flutter against a clock, gained in one period (modelling prior)."""

NOISE_LOW_HZ, NOISE_HIGH_HZ = 0.5, 40.0
MOST_NOISE = 4.0
"""The smooth noise is cut off at this many times its rms value."""

_WARM_UP_S = 4
_PIECE = 8192
_PROBE_HZ = 3150.0


@dataclass(frozen=True)
class Motion:
    """Where on the tape each output is read.

    Attributes:
        positions: frames of the tape, every ``knot_frames`` outputs; float64, shape (knots,).
        slopes: speed re nominal at the same places.
        knot_frames: a power of two.
        outputs: how many outputs read the whole tape.
    """

    positions: NDArray[np.float64]
    slopes: NDArray[np.float64]
    knot_frames: int
    outputs: int


@dataclass(frozen=True)
class Drift(ChannelModel):
    """Plays the tape at a speed that is off and wavers.

    speed = 1 + offset + wow + flutter + noise. Wow and flutter are sines of the given peak whose phase wanders;
    noise is Gaussian between 0.5 and 40 Hz. All are drawn in order along the absolute time of the playback.
    """

    name = "drift"
    summary = "speed offset, wow and flutter"
    place = "tape"

    speed_percent: float = parameter(0.0, "speed offset; positive plays faster", unit="%", low=-20.0, high=20.0)
    speed_percent_limit: float = parameter(
        0.0, "further offset, drawn evenly between plus and minus this for every tape", unit="%", low=0.0, high=10.0
    )
    decks: int = parameter(1, "how many decks draw such an offset; their offsets add", low=1, high=2)
    wow_percent: float = parameter(0.0, "peak speed deviation of the slow component", unit="%", low=0.0, high=5.0)
    wow_hz: float = parameter(0.8, "its frequency", unit="Hz", low=0.05, high=10.0)
    flutter_percent: float = parameter(0.0, "peak speed deviation of the fast component", unit="%", low=0.0, high=5.0)
    flutter_hz: float = parameter(7.0, "its frequency", unit="Hz", low=1.0, high=60.0)
    noise_percent: float = parameter(
        0.0, "rms speed deviation of smooth noise between 0.5 and 40 Hz", unit="%", low=0.0, high=2.0
    )

    @classmethod
    def nothing(cls) -> Self:
        return cls()

    def check(self) -> None:
        if self.wow_percent and self.flutter_percent and self.flutter_hz <= self.wow_hz:
            raise UsageError(
                f"drift: parameter 'flutter_hz' must be above 'wow_hz' ({self.wow_hz:g} Hz), not {self.flutter_hz:g}."
            )

    @property
    def still(self) -> bool:
        """Whether the speed is always the nominal one."""
        return not any(
            (self.speed_percent, self.speed_percent_limit, self.wow_percent, self.flutter_percent, self.noise_percent)
        )

    def motion(self, frames: int, sample_rate_hz: int, rng: np.random.Generator) -> Motion:
        """The read positions for a tape of ``frames`` frames, at least one."""
        from ..kernels.warp import BLOCK_FRAMES

        drawn = sum(rng.uniform(-1.0, 1.0, size=2)[: self.decks])
        offset = (self.speed_percent + self.speed_percent_limit * float(drawn)) / 100
        slowest = 1 + offset - (self.wow_percent + self.flutter_percent + MOST_NOISE * self.noise_percent) / 100
        knot_frames = min(BLOCK_FRAMES, 1 << (sample_rate_hz // KNOTS_HZ).bit_length() >> 1)
        knots = math.ceil((frames / slowest + 1) / BLOCK_FRAMES) * (BLOCK_FRAMES // knot_frames) + 1

        # Twice as many places as knots: the middle ones are for Simpson's rule.
        speed = self._speed(offset, 2 * knots - 1, knot_frames / 2 / sample_rate_hz, rng)
        advance = knot_frames / 6 * (speed[:-2:2] + 4 * speed[1::2] + speed[2::2])
        positions = np.concatenate(((0.0,), np.cumsum(advance)))
        slopes = np.ascontiguousarray(speed[::2])
        return Motion(positions, slopes, knot_frames, _outputs(positions, slopes, knot_frames, frames))

    def _speed(self, offset: float, places: int, step_s: float, rng: np.random.Generator) -> NDArray[np.float64]:
        """The speed at every ``step_s`` seconds, shape (places,)."""
        starts = rng.uniform(0.0, 2 * np.pi, size=2)
        warm_up = _WARM_UP_S * PHASE_GRID_HZ
        steps = math.ceil(places * step_s * PHASE_GRID_HZ) + 4
        drawn = rng.standard_normal((warm_up + steps, 2 + NOISE_GRID_HZ // PHASE_GRID_HZ))
        per_step = PHASE_WALK_RAD * np.sqrt(np.array([self.wow_hz, self.flutter_hz]) / PHASE_GRID_HZ)
        phases = (starts + per_step * np.cumsum(drawn[warm_up:, :2], axis=0)).T
        waver = _smooth(drawn[:, 2:].ravel())[_WARM_UP_S * NOISE_GRID_HZ :] if self.noise_percent else None

        speed = np.full(places, 1 + offset)
        for start in range(0, places, _PIECE):
            piece = speed[start : start + _PIECE]
            times_s = step_s * np.arange(start, start + piece.size, dtype=np.float64)
            told = ((self.wow_percent, self.wow_hz), (self.flutter_percent, self.flutter_hz))
            for (percent, hz), phase in zip(told, phases, strict=True):
                if percent:
                    piece += percent / 100 * np.sin(2 * np.pi * hz * times_s + _spline(phase, times_s * PHASE_GRID_HZ))
            if waver is not None:
                limited = np.clip(_spline(waver, times_s * NOISE_GRID_HZ), -MOST_NOISE, MOST_NOISE)
                piece += self.noise_percent / 100 * limited
        return speed

    def degrade(self, signal: Signal, rng: np.random.Generator) -> Signal:
        if self.still or signal.frames == 0:
            return signal
        from ..kernels.warp import warp, weights

        motion = self.motion(signal.frames, signal.sample_rate_hz, rng)
        out = np.empty((2, motion.outputs), np.float32)
        left, right = signal.samples
        warp(left, right, out[0], out[1], motion.positions, motion.slopes, motion.knot_frames, weights())
        return Signal.owning(out, signal.sample_rate_hz)

    @classmethod
    def calibrations(cls) -> tuple[Calibration, ...]:
        probe = tone(_PROBE_HZ, 12.0)
        offset = "the reading of a steady tone is right to 1e-4 %"
        peak = (
            "the peak over at least 9 periods read once a millisecond; the 8 ms window takes off up to 0.7 % at 7 Hz, "
            "interpolation noise 70 dB down adds up to 0.004 %"
        )
        return (
            Calibration("speed_percent", cls(speed_percent=3.0), probe, _offset_percent, 3.0, 1e-3, offset),
            Calibration("wow_percent", cls(wow_percent=0.5), probe, _peak_percent, 0.5, 0.01, peak),
            Calibration("flutter_percent", cls(flutter_percent=0.5), probe, _peak_percent, 0.5, 0.01, peak),
        )


def _smooth(white: NDArray[np.float64]) -> NDArray[np.float64]:
    """White noise on the grid made smooth: 0.5 to 40 Hz, and of rms 1 once it is a spline."""
    from ..kernels.filters import STATE, section

    sections, rms = _smoothing()
    noise = (white / rms).astype(np.float32)
    for coefficients in sections:
        section(noise, np.zeros_like(noise), coefficients, np.zeros(STATE))
    return noise.astype(np.float64)


@cache
def _smoothing() -> tuple[NDArray[np.float64], float]:
    """The filter that smooths the noise, and the rms of white noise of deviation 1 after it and the spline."""
    sections = Band(low_hz=NOISE_LOW_HZ, high_hz=NOISE_HIGH_HZ, order=2).sections(NOISE_GRID_HZ)
    w = np.pi * (np.arange(8192) + 0.5) / 8192
    z = np.exp(-1j * w)
    gain = np.prod([np.abs((b0 + (b1 + b2 * z) * z) / (1 + (a1 + a2 * z) * z)) for b0, b1, b2, a1, a2 in sections], 0)
    # The mean power of a cubic B-spline with coefficients of that spectrum: the samples of the B-spline of degree 7.
    splined = (2416 + 2382 * np.cos(w) + 240 * np.cos(2 * w) + 2 * np.cos(3 * w)) / 5040
    return sections, math.sqrt(np.mean(gain**2 * splined))


def _spline(coefficients: NDArray[np.float64], places: NDArray[np.float64]) -> NDArray[np.float64]:
    """The cubic B-spline with these coefficients at ``places``; place 0 lies on the second coefficient."""
    whole = places.astype(np.int64)
    u = places - whole
    v = 1 - u
    out: NDArray[np.float64] = v * v * v / 6 * coefficients[whole]
    out += (2 / 3 - u * u * (1 - u / 2)) * coefficients[whole + 1]
    out += (2 / 3 - v * v * (1 - v / 2)) * coefficients[whole + 2]
    out += u * u * u / 6 * coefficients[whole + 3]
    return out


def _outputs(positions: NDArray[np.float64], slopes: NDArray[np.float64], knot_frames: int, frames: int) -> int:
    """How many outputs read at or before the last frame: the cubic between knots, as the kernel has it."""
    knot = min(int(np.searchsorted(positions, frames - 1, side="right")) - 1, positions.size - 2)
    u = np.arange(knot_frames) / knot_frames
    rise = positions[knot + 1] - positions[knot]
    s0, s1 = knot_frames * slopes[knot], knot_frames * slopes[knot + 1]
    place = positions[knot] + u * (s0 + u * (3 * rise - 2 * s0 - s1 + u * (s0 + s1 - 2 * rise)))
    return knot_frames * knot + int((place <= frames - 1).sum())


def _deviation_percent(signal: Signal) -> NDArray[np.float64]:
    return 100 * (frequency_hz(inner(signal)[0], _PROBE_HZ, RATE_HZ) / _PROBE_HZ - 1)


def _offset_percent(signal: Signal) -> float:
    return float(_deviation_percent(signal).mean())


def _peak_percent(signal: Signal) -> float:
    return float(np.abs(_deviation_percent(signal)).max())
