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
from ..contracts.streams import substream
from .draws import words
from .reading import RATE_HZ, frequency_hz, inner, tone
from .scrape import SCRAPE_HZ, scrape
from .smooth_noise import spline
from .wow_and_flutter import DIAMETERS_DIFFER, NOISE, Turning, parts, weighting

PHASE_GRID_HZ = 4
"""How often a second the phases of what turns are drawn, whatever the sample rate; between, a cubic B-spline."""

KNOTS_HZ = 600
"""The read position is worked out at least this often a second: 15 times a period of the fastest noise."""

PHASE_WALK_RAD = 0.3
"""Standard deviation of the phase of a turning part against a clock, gained in one period (modelling prior)."""

MOST_NOISE = 4.0
"""The smooth noise is cut off at this many times its rms value."""

_WARM_UP_S = 4
_PARTS = 10
_PIECE = 65_536
_PROBE_HZ = 3150.0
_SCRAPED_HZ = 6500.0


@dataclass(frozen=True)
class Motion:
    """Where on the tape each output is read.

    Attributes:
        positions: frames of the tape, every ``knot_frames`` outputs; float64, shape (knots,).
        slopes: speed re nominal at the same places.
        knot_frames: a power of two.
        outputs: how many outputs read the whole tape.
        key: four words of 32 bits that name the scrape flutter.
    """

    positions: NDArray[np.float64]
    slopes: NDArray[np.float64]
    knot_frames: int
    outputs: int
    key: tuple[int, ...]


@dataclass(frozen=True)
class Drift(ChannelModel):
    """Plays the tape at a speed that is off and wavers.

    speed = 1 + offsets + what turns in the decks + smooth noise. ``weighted_percent`` is what a meter of IEC 60386
    reads: capstans, pinch rollers and reels at the frequencies that their diameters and the place on the tape give
    them, and noise of 0.5 to 40 Hz. ``wow_percent``, ``flutter_percent`` and ``noise_percent`` add plain components.
    Whatever turns is a sine whose phase wanders. All are drawn in order along the absolute time of the playback.
    """

    name = "drift"
    summary = "speed offset, wow and flutter"
    place = "tape"
    makes_anew = True

    speed_percent: float = parameter(0.0, "speed offset; positive plays faster", unit="%", low=-20.0, high=20.0)
    speed_percent_limit: float = parameter(
        0.0, "further offset, drawn evenly between plus and minus this for every tape", unit="%", low=0.0, high=10.0
    )
    decks: int = parameter(1, "how many decks draw an offset and turn; their offsets add", low=1, high=2)
    same_deck: bool = parameter(False, "recorded and replayed by one deck, whose drawn offset cancels")
    weighted_percent: float = parameter(
        0.0, "wow and flutter of all decks together as a meter reads it, weighted, 2-sigma", unit="%", low=0.0, high=1.0
    )
    capstan_mm: float = parameter(2.2, "diameter of the capstans", unit="mm", low=1.0, high=10.0)
    roller_mm: float = parameter(12.0, "diameter of the pinch rollers", unit="mm", low=5.0, high=40.0)
    scrape_percent: float = parameter(0.0, "rms scrape flutter, 2.5 to 5.5 kHz", unit="%", low=0.0, high=1.0)
    left_s: float = parameter(
        1800.0, "playing time of the tape still to come at the start", unit="s", low=0.0, high=4000.0
    )
    played_s: float = parameter(0.0, "playing time of the tape already wound", unit="s", low=0.0, high=4000.0)
    start_up_ms: float = parameter(0.0, "time constant of the start from standstill", unit="ms", low=0.0, high=2000.0)
    wow_percent: float = parameter(0.0, "peak speed deviation of a slow component", unit="%", low=0.0, high=5.0)
    wow_hz: float = parameter(0.8, "its frequency", unit="Hz", low=0.05, high=10.0)
    flutter_percent: float = parameter(0.0, "peak speed deviation of a fast component", unit="%", low=0.0, high=5.0)
    flutter_hz: float = parameter(7.0, "its frequency", unit="Hz", low=1.0, high=60.0)
    noise_percent: float = parameter(
        0.0, "rms speed deviation of further smooth noise, 0.5 to 40 Hz", unit="%", low=0.0, high=2.0
    )

    @classmethod
    def nothing(cls) -> Self:
        return cls()

    def at_best(self) -> Self:
        return self.nothing()

    def check(self) -> None:
        if self.wow_percent and self.flutter_percent and self.flutter_hz <= self.wow_hz:
            raise UsageError(
                f"drift: parameter 'flutter_hz' must be above 'wow_hz' ({self.wow_hz:g} Hz), not {self.flutter_hz:g}."
            )

    @property
    def still(self) -> bool:
        """Whether the speed is always the nominal one, scrape apart."""
        return not any(
            (
                self.speed_percent,
                self.speed_percent_limit,
                self.weighted_percent,
                self.start_up_ms,
                self.wow_percent,
                self.flutter_percent,
                self.noise_percent,
            )
        )

    def motion(self, frames: int, sample_rate_hz: int, rng: np.random.Generator) -> Motion:
        """The read positions for a tape of ``frames`` frames, at least one."""
        from ..kernels.warp import BLOCK_FRAMES

        key = words(rng, 4)
        drawn = float(rng.uniform(-1.0, 1.0, size=2)[: self.decks].sum())
        offset = (self.speed_percent + (0.0 if self.same_deck else self.speed_percent_limit * drawn)) / 100
        turning, noise_percent = self._turning(rng)
        slowest = 1 + offset - (sum(part.percent for part in turning) + MOST_NOISE * noise_percent) / 100
        knot_frames = min(BLOCK_FRAMES, 1 << (sample_rate_hz // KNOTS_HZ).bit_length() >> 1)
        latest = frames / slowest + 1 + self.start_up_ms / 1000 * sample_rate_hz
        knots = math.ceil(latest / BLOCK_FRAMES) * (BLOCK_FRAMES // knot_frames) + 1

        # Twice as many places as knots: the middle ones are for Simpson's rule.
        speed = self._speed(offset, turning, noise_percent, 2 * knots - 1, knot_frames / 2 / sample_rate_hz, rng)
        advance = knot_frames / 6 * (speed[:-2:2] + 4 * speed[1::2] + speed[2::2])
        positions = np.concatenate(((0.0,), np.cumsum(advance)))
        slopes = np.ascontiguousarray(speed[::2])
        return Motion(positions, slopes, knot_frames, _outputs(positions, slopes, knot_frames, frames), key)

    def _turning(self, rng: np.random.Generator) -> tuple[list[Turning], float]:
        """All sines of speed, always as many, and the rms of the smooth noise in %."""
        spread = rng.uniform(-DIAMETERS_DIFFER, DIAMETERS_DIFFER, size=4)
        if self.same_deck:
            spread[1], spread[3] = spread[0], spread[2]
        capstans_mm = self.capstan_mm * (1 + spread[: self.decks])
        rollers_mm = self.roller_mm * (1 + spread[2 : 2 + self.decks])
        found, noise_percent = parts(
            self.weighted_percent, capstans_mm.tolist(), rollers_mm.tolist(), self.left_s, self.played_s
        )
        found = [Turning(self.wow_percent, self.wow_hz), Turning(self.flutter_percent, self.flutter_hz), *found]
        return found, math.hypot(noise_percent, self.noise_percent)

    def _speed(
        self,
        offset: float,
        turning: list[Turning],
        noise_percent: float,
        places: int,
        step_s: float,
        rng: np.random.Generator,
    ) -> NDArray[np.float64]:
        """The speed at every ``step_s`` seconds, shape (places,)."""
        starts = rng.uniform(0.0, 2 * np.pi, size=_PARTS)
        warm_up = _WARM_UP_S * PHASE_GRID_HZ
        steps = math.ceil(places * step_s * PHASE_GRID_HZ) + 4
        drawn = rng.standard_normal((warm_up + steps, _PARTS + NOISE.grid_hz // PHASE_GRID_HZ))
        walks = np.cumsum(drawn[warm_up:, :_PARTS], axis=0).T

        # The speed on the grid of the noise, as coefficients of the spline between: a sine's are a sine.
        times_s = np.arange((steps - 4) * NOISE.grid_hz // PHASE_GRID_HZ + 4) / NOISE.grid_hz
        heard = [number for number, part in enumerate(turning) if part.percent]
        rates_hz = np.array([turning[number].hz for number in heard])
        peaks = np.array([turning[number].percent / 100 for number in heard]) / np.sinc(rates_hz / NOISE.grid_hz) ** 4
        turns = {part: part.turns(times_s) for part in dict.fromkeys(turning) if part.percent}
        angles = 2 * np.pi * np.array([turns[turning[number]] for number in heard]).reshape(len(heard), times_s.size)
        angles += starts[heard, None]
        scales = PHASE_WALK_RAD * np.sqrt(rates_hz / PHASE_GRID_HZ)
        angles += scales[:, None] * spline(walks[heard], times_s * PHASE_GRID_HZ)
        coefficients = (peaks[:, None] * np.sin(angles)).sum(axis=0)
        if noise_percent:
            noise = NOISE.shaped(drawn[:, _PARTS:].ravel())[: times_s.size]
            coefficients += noise_percent / 100 * np.clip(noise, -MOST_NOISE, MOST_NOISE)

        speed = np.full(places, 1 + offset)
        for start in range(0, places, _PIECE):
            piece = speed[start : start + _PIECE]
            piece_s = step_s * np.arange(start, start + piece.size, dtype=np.float64)
            piece += spline(coefficients, piece_s * NOISE.grid_hz)
            if self.start_up_ms:
                piece *= -np.expm1(-piece_s / (self.start_up_ms / 1000))
        return speed

    def degrade(self, signal: Signal, rng: np.random.Generator) -> Signal:
        if signal.frames == 0 or (self.still and not self.scrape_percent):
            return signal
        rate = signal.sample_rate_hz
        if self.still:
            out, key = signal.samples.copy(), words(rng, 4)
        else:
            from ..kernels.warp import warp, weights

            motion = self.motion(signal.frames, rate, rng)
            out, key = np.empty((2, motion.outputs), np.float32), motion.key
            (left, right), (left_out, right_out) = signal.samples, out
            warp(left, right, left_out, right_out, motion.positions, motion.slopes, motion.knot_frames, weights())
        if self.scrape_percent:
            scrape(out, self.scrape_percent, rate, substream(key, "scrape"))
        return Signal.owning(out, rate)

    @classmethod
    def calibrations(cls) -> tuple[Calibration, ...]:
        probe = tone(_PROBE_HZ, 12.0)
        offset = "the reading of a steady tone is right to 1e-4 %"
        peak = (
            "the peak over at least 9 periods read once a millisecond; the 8 ms window takes off up to 0.7 % at 7 Hz, "
            "interpolation noise 70 dB down adds up to 0.004 %"
        )
        weighted = (
            "the 2-sigma value over 60 s: the noise has some 60 x 20 degrees of freedom and 30 % of the power, the "
            "phases of the sines have few: s.e. 1.5 %, 5 of them"
        )
        scraped = (
            "swells of 200 Hz over 50 s, some 6,000 independent: s.e. of the rms 0.9 %, five of them; the slope at "
            "the tone is 2.3 % low"
        )
        return (
            Calibration("speed_percent", cls(speed_percent=3.0), probe, _offset_percent, 3.0, 1e-3, offset),
            Calibration("wow_percent", cls(wow_percent=0.5), probe, _peak_percent, 0.5, 0.01, peak),
            Calibration("flutter_percent", cls(flutter_percent=0.5), probe, _peak_percent, 0.5, 0.01, peak),
            Calibration(
                "weighted_percent",
                cls(weighted_percent=0.2, decks=2),
                tone(_PROBE_HZ, 60.0),
                _weighted_percent,
                0.2,
                0.015,
                weighted,
            ),
            Calibration(
                "scrape_percent", cls(scrape_percent=0.1), tone(_SCRAPED_HZ, 50.2), _scrape_percent, 0.1, 0.007, scraped
            ),
        )


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


def _weighted_percent(signal: Signal) -> float:
    deviation = _deviation_percent(signal)
    deviation = deviation - deviation.mean()
    hz = np.fft.rfftfreq(deviation.size, 1e-3 * (RATE_HZ // 1000) / RATE_HZ * 1000)
    weighted = np.fft.irfft(np.fft.rfft(deviation) * np.where(hz > 0, weighting(hz), 0.0), deviation.size)
    return float(np.quantile(np.abs(weighted), 0.95))


def _scrape_percent(signal: Signal) -> float:
    # Phase noise about the tone, as speed: times the distance over the tone.
    row = inner(signal)[0]
    row = row * np.hanning(row.size)
    power = np.abs(np.fft.rfft(row)) ** 2
    off_hz = np.abs(np.fft.rfftfreq(row.size, 1 / RATE_HZ) - _SCRAPED_HZ)
    about = (off_hz >= SCRAPE_HZ[0]) & (off_hz <= SCRAPE_HZ[1])
    speed = (power[about] * (off_hz[about] / _SCRAPED_HZ) ** 2).sum() / power[off_hz < 2].sum()
    return float(100 * math.sqrt(speed))
