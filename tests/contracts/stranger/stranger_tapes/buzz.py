"""A channel model: a steady buzz of which only the phase is left to chance."""

from dataclasses import dataclass

import numpy as np
from tapewright.contracts.channel_model import Calibration, ChannelModel
from tapewright.contracts.parameters import parameter
from tapewright.contracts.signal import Signal


def _buzz_percent(signal):
    turning = np.exp(-2j * np.pi * 50 * np.arange(signal.frames) / signal.sample_rate_hz)
    return 100 * 2 * abs(signal.samples[0] @ turning) / signal.frames


@dataclass(frozen=True)
class Buzz(ChannelModel):
    """50 Hz on both tracks, its phase drawn once a tape."""

    name = "buzz"
    summary = "A mains buzz."
    place = "replay"

    peak_percent: float = parameter(2.0, "Peak of the buzz, of full scale.", unit="%", low=0, high=50)

    def degrade(self, signal, rng):
        phase = rng.uniform(0, 2 * np.pi)
        if self.peak_percent == 0:
            return signal
        turns = 50 * np.arange(signal.frames) / signal.sample_rate_hz
        return Signal(
            signal.samples + self.peak_percent / 100 * np.sin(2 * np.pi * turns + phase), signal.sample_rate_hz
        )

    @classmethod
    def nothing(cls):
        return cls(peak_percent=0)

    @classmethod
    def calibrations(cls):
        silent = Signal(np.zeros((2, 44_100)), 44_100)
        reason = "50 whole cycles: only float32 rounding is left"
        return (Calibration("peak_percent", cls(peak_percent=7), silent, _buzz_percent, 7.0, 1e-3, reason),)
