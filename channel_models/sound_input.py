"""Sound input: what a computer makes of the replay: an offset, a clock of its own, steps and a ceiling."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import NDArray

from ..contracts.channel_model import Calibration, ChannelModel
from ..contracts.parameters import parameter
from ..contracts.signal import Signal
from .reading import RATE_HZ, frequency_hz, inner, tone

_KNOT_FRAMES = 4096
_PIECE_FRAMES = 1 << 16
_PROBE_HZ = 3150.0


@dataclass(frozen=True)
class SoundInput(ChannelModel):
    """Sampling by a clock that is off, an offset, rounding to whole steps, and hard clipping."""

    name = "sound_input"
    summary = "offset, clock error, quantisation and clipping of a sound input"
    place = "capture"
    makes_anew = True

    offset: float = parameter(0.0, "constant added to both tracks, re full scale", low=-1.0, high=1.0)
    clock_ppm: float = parameter(
        0.0, "how much faster its clock runs: more samples, a lower pitch", unit="ppm", low=-10_000.0, high=10_000.0
    )
    clock_ppm_limit: float = parameter(
        0.0, "further error, drawn evenly between plus and minus this", unit="ppm", low=0.0, high=1000.0
    )
    bits: int = parameter(0, "steps of full scale as a power of two; 0 does not round", low=0, high=24)
    ceiling: float = parameter(1.0, "largest magnitude that passes, re full scale; 0 is off", low=0.0, high=1e6)

    @classmethod
    def nothing(cls) -> Self:
        return cls(ceiling=0.0)

    def degrade(self, signal: Signal, rng: np.random.Generator) -> Signal:
        ppm = self.clock_ppm + self.clock_ppm_limit * float(rng.uniform(-1.0, 1.0))
        if signal.frames == 0 or (not ppm and not self.offset and not self.bits and not self.ceiling):
            return signal
        samples = _sampled(signal, 1 / (1 + ppm * 1e-6)) if ppm else signal.samples.copy()
        steps = np.float32(2 ** (self.bits - 1)) if self.bits else None
        ceiling = np.float32(self.ceiling)
        for start in range(0, samples.shape[1], _PIECE_FRAMES):
            piece = samples[:, start : start + _PIECE_FRAMES]
            if self.offset:
                piece += np.float32(self.offset)
            if steps is not None:
                piece *= steps
                np.rint(piece, out=piece)
                piece /= steps
            if ceiling:
                np.clip(piece, -ceiling, ceiling, out=piece)
        return Signal.owning(samples, signal.sample_rate_hz)

    @classmethod
    def calibrations(cls) -> tuple[Calibration, ...]:
        loud = tone(1000.0, 0.5, 0.9, 0.9)
        step = 2.0**-7
        rounding = "the error of rounding is even within a step: rms step / sqrt(12); a tone repeats it, within 10 %"
        return (
            Calibration("offset", cls(offset=0.02), tone(1000.0, 1.0), _mean, 0.02, 1e-5, "mean of whole periods"),
            Calibration(
                "clock_ppm",
                cls(clock_ppm=500.0),
                tone(_PROBE_HZ, 12.0),
                _clock_ppm,
                500.0,
                5.0,
                "a steady tone is read to 1e-6 over 12 s",
            ),
            Calibration(
                "bits", cls(bits=8), tone(997.0, 1.0, 0.5, 0.0), _rounding_rms, step / math.sqrt(12), 2e-4, rounding
            ),
            Calibration("ceiling", cls(ceiling=0.4), loud, _peak, 0.4, 1e-7, "0.4 is stored within 6e-9 of itself"),
        )


def _sampled(signal: Signal, speed: float) -> NDArray[np.float32]:
    """Read at ``speed`` frames an output, to the last frame."""
    from ..kernels.warp import BLOCK_FRAMES, warp, weights

    outputs = math.floor((signal.frames - 1) / speed) + 1
    knots = math.ceil(outputs / BLOCK_FRAMES) * (BLOCK_FRAMES // _KNOT_FRAMES) + 1
    positions = speed * _KNOT_FRAMES * np.arange(knots, dtype=np.float64)
    out = np.empty((2, outputs), np.float32)
    (left, right), (left_out, right_out) = signal.samples, out
    warp(left, right, left_out, right_out, positions, np.full(knots, speed), _KNOT_FRAMES, weights())
    return out


def _mean(signal: Signal) -> float:
    return float(inner(signal).mean())


def _clock_ppm(signal: Signal) -> float:
    return float((_PROBE_HZ / frequency_hz(inner(signal)[0], _PROBE_HZ, RATE_HZ).mean() - 1) * 1e6)


def _rounding_rms(signal: Signal) -> float:
    exact = tone(997.0, 1.0, 0.5, 0.0)
    return float(np.std(inner(signal)[0] - inner(exact)[0]))


def _peak(signal: Signal) -> float:
    return float(np.abs(signal.samples).max(axis=1).min())
