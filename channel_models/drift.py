"""Drift: the speed of the tape, how far it is off and how it wavers."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import NDArray

from ..contracts.channel_model import Calibration, ChannelModel
from ..contracts.errors import UsageError
from ..contracts.parameters import parameter
from ..contracts.signal import Signal
from .band import Band
from .reading import RATE_HZ, frequency_hz, inner, tone

GRID_HZ = 256
"""How often a second the random walks of phase and the smooth noise are drawn, whatever the sample rate."""

PHASE_WALK_RAD = 0.3
"""Standard deviation of the phase of wow and flutter against a clock, gained in one period (modelling prior)."""

NOISE_LOW_HZ, NOISE_HIGH_HZ = 0.5, 40.0
MOST_NOISE = 4.0
"""The smooth noise is cut off at this many times its rms value."""

_WARM_UP_S = 4
_PROBE_HZ = 3150.0


@dataclass(frozen=True)
class Motion:
    """Where on the tape each output is read.

    Attributes:
        positions: frames of the tape, at every 64th output; float64, shape (knots,).
        slopes: speed re nominal at the same places.
        outputs: how many outputs read the whole tape.
    """

    positions: NDArray[np.float64]
    slopes: NDArray[np.float64]
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
        from ..kernels.warp import KNOT_FRAMES, KNOTS_PER_BLOCK

        drawn = sum(rng.uniform(-1.0, 1.0, size=2)[: self.decks])
        offset = (self.speed_percent + self.speed_percent_limit * float(drawn)) / 100
        wow, flutter, noise = self.wow_percent / 100, self.flutter_percent / 100, self.noise_percent / 100
        slowest = 1 + offset - wow - flutter - MOST_NOISE * noise
        blocks = math.ceil((frames / slowest + 1) / (KNOT_FRAMES * KNOTS_PER_BLOCK))
        knots = blocks * KNOTS_PER_BLOCK + 1

        # Twice as many places as knots: the middle ones are for Simpson's rule.
        times_s = np.arange(2 * knots - 1) * (KNOT_FRAMES / 2 / sample_rate_hz)
        walks = self._walks(float(times_s[-1]), rng)
        grid_s = np.arange(walks.shape[1]) / GRID_HZ
        speed = np.full(times_s.size, 1 + offset)
        for peak, hz, walk in ((wow, self.wow_hz, walks[0]), (flutter, self.flutter_hz, walks[1])):
            if peak:
                speed += peak * np.sin(2 * np.pi * hz * times_s + np.interp(times_s, grid_s, walk))
        if noise:
            speed += noise * np.interp(times_s, grid_s, walks[2])
        advance = KNOT_FRAMES / 6 * (speed[:-2:2] + 4 * speed[1::2] + speed[2::2])
        positions = np.concatenate(((0.0,), np.cumsum(advance)))
        slopes = np.ascontiguousarray(speed[::2])
        return Motion(positions, slopes, _outputs(positions, slopes, frames))

    def _walks(self, duration_s: float, rng: np.random.Generator) -> NDArray[np.float64]:
        """Phases of wow and flutter and the smooth noise (rms 1) on the grid, shape (3, places)."""
        starts = rng.uniform(0.0, 2 * np.pi, size=2)
        warm_up = _WARM_UP_S * GRID_HZ
        places = math.ceil(duration_s * GRID_HZ) + 2
        drawn = rng.standard_normal((warm_up + places, 3))
        walks = np.empty((3, places))
        for row, hz in enumerate((self.wow_hz, self.flutter_hz)):
            walks[row] = starts[row] + PHASE_WALK_RAD * math.sqrt(hz / GRID_HZ) * np.cumsum(drawn[warm_up:, row])
        walks[2] = _smooth(drawn[:, 2])[warm_up:]
        return walks

    def degrade(self, signal: Signal, rng: np.random.Generator) -> Signal:
        if self.still or signal.frames == 0:
            return signal
        from ..kernels.warp import warp, weights

        motion = self.motion(signal.frames, signal.sample_rate_hz, rng)
        out = np.empty((2, motion.outputs), np.float32)
        left, right = signal.samples
        warp(left, right, out[0], out[1], motion.positions, motion.slopes, weights())
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
    """White noise on the grid made smooth: 0.5 to 40 Hz, rms 1, cut off at ``MOST_NOISE``."""
    from ..kernels.filters import STATE, section

    sections = Band(low_hz=NOISE_LOW_HZ, high_hz=NOISE_HIGH_HZ, order=2).sections(GRID_HZ)
    z = np.exp(-1j * np.pi * (np.arange(8192) + 0.5) / 8192)
    gain = np.prod([np.abs((b0 + (b1 + b2 * z) * z) / (1 + (a1 + a2 * z) * z)) for b0, b1, b2, a1, a2 in sections], 0)
    noise = (white / math.sqrt(np.mean(gain**2))).astype(np.float32)
    for coefficients in sections:
        section(noise, np.zeros_like(noise), coefficients, np.zeros(STATE))
    return np.clip(noise.astype(np.float64), -MOST_NOISE, MOST_NOISE)


def _outputs(positions: NDArray[np.float64], slopes: NDArray[np.float64], frames: int) -> int:
    """How many outputs read at or before the last frame: the cubic between knots, as the kernel has it."""
    from ..kernels.warp import KNOT_FRAMES

    knot = min(int(np.searchsorted(positions, frames - 1, side="right")) - 1, positions.size - 2)
    u = np.arange(KNOT_FRAMES) / KNOT_FRAMES
    rise = positions[knot + 1] - positions[knot]
    s0, s1 = KNOT_FRAMES * slopes[knot], KNOT_FRAMES * slopes[knot + 1]
    place = positions[knot] + u * (s0 + u * (3 * rise - 2 * s0 - s1 + u * (s0 + s1 - 2 * rise)))
    return KNOT_FRAMES * knot + int((place <= frames - 1).sum())


def _deviation_percent(signal: Signal) -> NDArray[np.float64]:
    return 100 * (frequency_hz(inner(signal)[0], _PROBE_HZ, RATE_HZ) / _PROBE_HZ - 1)


def _offset_percent(signal: Signal) -> float:
    return float(_deviation_percent(signal).mean())


def _peak_percent(signal: Signal) -> float:
    return float(np.abs(_deviation_percent(signal)).max())
