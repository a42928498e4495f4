"""Level control: a portable recorder turns the recording level up in pauses and down when something comes."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import NDArray

from ..contracts.channel_model import Calibration, Treatment
from ..contracts.parameters import parameter
from ..contracts.signal import Signal
from .reading import RATE_HZ, phasor, tone


@dataclass(frozen=True)
class LevelControl(Treatment):
    """One gain for both tracks, from a peak detector that listens to the louder one.

    The gain aims at ``target_db`` and stays within ``range_db`` of 1 both ways. It stands at its most before the
    recording starts, so that the first burst after any pause comes in too strong.
    """

    name = "level_control"
    summary = "automatic level control that pumps"
    place = "record"

    target_db: float = parameter(0.0, "peak that it aims at, re the 3 % level", unit="dB", low=-60.0, high=20.0)
    range_db: float = parameter(20.0, "most gain, and most attenuation; 0 is off", unit="dB", low=0.0, high=60.0)
    attack_ms: float = parameter(15.0, "time constant towards a louder peak", unit="ms", low=0.1, high=1000.0)
    decay_ms: float = parameter(1500.0, "time constant in which the detector falls", unit="ms", low=10.0, high=60_000.0)

    @classmethod
    def nothing(cls) -> Self:
        return cls(range_db=0.0)

    @property
    def idle(self) -> bool:
        return self.range_db == 0.0

    def treat(self, samples: NDArray[np.float32], sample_rate_hz: int, rng: np.random.Generator) -> None:
        from ..kernels.level_control import control

        target = 10 ** (self.target_db / 20)
        most = 10 ** (self.range_db / 20)
        attack = -math.expm1(-1000 / (self.attack_ms * sample_rate_hz))
        decay = math.exp(-1000 / (self.decay_ms * sample_rate_hz))
        left, right = samples
        control(
            left,
            right,
            np.float32(target),
            np.float32(attack),
            np.float32(decay),
            np.float32(1 / most),
            np.float32(most),
            np.float32(target / most),
        )

    @classmethod
    def calibrations(cls) -> tuple[Calibration, ...]:
        steady = (
            "the detector rises only near the peaks of the tone and falls in between: it settles where both balance, "
            "a few per cent below the peak with a decay a hundred times as long as the attack"
        )
        model = cls(target_db=-6.0)
        weak = tone(1000.0, 3.0, 0.01, 0.01)
        return (
            Calibration("target_db", model, tone(1000.0, 3.0, 0.3, 0.3), _settled_db, -6.0, 1.0, steady),
            Calibration("range_db", cls(range_db=12.0), weak, _settled_db, -28.0, 0.01, "the gain stays at its most"),
        )


def _settled_db(signal: Signal) -> float:
    last = signal.samples[0, -RATE_HZ // 2 :].astype(np.float64)
    return float(20 * np.log10(abs(phasor(last, 1000.0, RATE_HZ))))
