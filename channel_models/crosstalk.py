"""Crosstalk: each track heard on the other."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Self

import numpy as np

from ..contracts.channel_model import Calibration, ChannelModel
from ..contracts.parameters import parameter
from ..contracts.signal import Signal
from .reading import RATE_HZ, inner, phasor, tone

OFF_DB = 200.0
_PIECE_FRAMES = 1 << 16


@dataclass(frozen=True)
class Crosstalk(ChannelModel):
    """The neighbour track in phase, equally strong at all frequencies and in both directions."""

    name = "crosstalk"
    summary = "each track heard on the other"
    place = "replay"

    separation_db: float = parameter(
        30.0, "how far below its own track the neighbour is heard; 200 is not at all", unit="dB", low=0.0, high=OFF_DB
    )

    @classmethod
    def nothing(cls) -> Self:
        return cls(separation_db=OFF_DB)

    def degrade(self, signal: Signal, rng: np.random.Generator) -> Signal:
        if self.separation_db >= OFF_DB:
            return signal
        share = np.float32(10 ** (-self.separation_db / 20))
        samples = signal.samples
        out = np.empty_like(samples)
        for start in range(0, signal.frames, _PIECE_FRAMES):
            here = slice(start, start + _PIECE_FRAMES)
            np.multiply(samples[::-1, here], share, out=out[:, here])
            out[:, here] += samples[:, here]
        return Signal.owning(out, signal.sample_rate_hz)

    @classmethod
    def calibrations(cls) -> tuple[Calibration, ...]:
        reason = "single precision: what is read is 6e-8 of the wanted track's peak or better, 1e-5 of the neighbour's"
        model = cls(separation_db=30.0)
        return (
            Calibration("separation_db", model, tone(1000.0, 1.0, right=0.0), _left_over_right_db, 30.0, 1e-3, reason),
            Calibration("separation_db", model, tone(6300.0, 1.0, left=0.0), _right_over_left_db, 30.0, 1e-3, reason),
        )


def _left_over_right_db(signal: Signal) -> float:
    left, right = (abs(phasor(row, 1000.0, RATE_HZ)) for row in inner(signal))
    return float(20 * np.log10(left / right))


def _right_over_left_db(signal: Signal) -> float:
    left, right = (abs(phasor(row, 6300.0, RATE_HZ)) for row in inner(signal))
    return float(20 * np.log10(right / left))
