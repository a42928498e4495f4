"""Tone filter: how the relay of a further tone tells it from the others on its track.

The amplifier of the track, driven well into clipping, is a limiter. Behind it stand a resistor and a tuned circuit to
ground, and a second amplifier like the first, which is not heard by the circuit; then rectifier, reservoir and coil as
at any front end. With the resistor R, the inductance L and the capacitance C

    H(s) = (w0/Q) s / (s^2 + (w0/Q) s + w0^2),    w0 = 1/sqrt(L C),    Q = R sqrt(C/L),

so a tone at half or twice the resonance is weakened to 1/sqrt(1 + (3Q/2)^2), and a burst rises with 2Q/w0 (textbook).
A limiter that clips alike on both sides makes odd multiples of a tone alone: the octave has none of them, but a tone at
three times the other would be heard in it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...contracts.signal import Signal

PARTS = 4
"""Parts of a sample interval in which the limiter is followed: what it makes above half the sample rate then hardly
folds back into the filter (the harmonic that does is the 80th and more)."""

BLOCK_FRAMES = 1 << 16


@dataclass(frozen=True, slots=True)
class FilterKind:
    """What a set says of its filters.

    Attributes:
        quality: Q, the coil's own loss included.
        tuning: how far a filter may be off its tone after line-up, as a share.
        gain: of the second amplifier.
        inductance_h: of the coil; the capacitor follows from the tone.
    """

    quality: float
    tuning: float
    gain: float
    inductance_h: float

    def capacitance_f(self, tone_hz: float) -> float:
        """The capacitor that tunes the coil to a tone.

        >>> round(1e9 * FilterKind(6.0, 0.02, 1.0, 0.022).capacitance_f(4000.0), 2)
        71.96
        """
        return 1.0 / ((2 * math.pi * tone_hz) ** 2 * self.inductance_h)

    def resistance_ohm(self, tone_hz: float) -> float:
        """The resistor between limiter and tuned circuit."""
        return self.quality * 2 * math.pi * tone_hz * self.inductance_h


@dataclass(frozen=True, slots=True)
class ToneFilter:
    """One filter.

    Attributes:
        centre_hz: where it is tuned to.
        quality: Q.
        limiter_gain_v, limiter_v: volts out of the limiter for a full-scale sample, and where it clips.
    """

    centre_hz: float
    quality: float
    limiter_gain_v: float
    limiter_v: float

    def response(self, tone_hz: float) -> float:
        """Share of a steady sine that passes.

        >>> round(ToneFilter(4000.0, 6.0, 150.0, 16.0).response(2000.0), 4)
        0.1104
        """
        detuning = tone_hz / self.centre_hz - self.centre_hz / tone_hz
        return 1.0 / math.sqrt(1.0 + (self.quality * detuning) ** 2)

    def passed(self, signal: Signal, track: int) -> Signal:
        """What comes out of the filter, in volts: the same on both rows."""
        from scipy.signal import lfilter

        numerator, denominator = self._sections(PARTS * signal.sample_rate_hz)
        state, last = np.zeros(2), 0.0
        heard = np.empty(signal.frames, np.float32)
        share = np.arange(1, PARTS + 1) / PARTS
        for first in range(0, signal.frames, BLOCK_FRAMES):
            now = signal.samples[track, first : first + BLOCK_FRAMES].astype(np.float64)
            before = np.concatenate([[last], now[:-1]])
            last = float(now[-1])
            between = (before[:, None] + (now - before)[:, None] * share).ravel()
            limited = np.clip(self.limiter_gain_v * between, -self.limiter_v, self.limiter_v)
            filtered, state = lfilter(numerator, denominator, limited, zi=state)
            heard[first : first + now.size] = filtered[PARTS - 1 :: PARTS]
        return Signal(heard, signal.sample_rate_hz)

    def _sections(self, rate_hz: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """The bilinear transform, exact at the resonance."""
        turn = 2 * math.pi * self.centre_hz / rate_hz
        width = math.sin(turn) / (2 * self.quality)
        numerator = np.array([width, 0.0, -width]) / (1 + width)
        return numerator, np.array([1 + width, -2 * math.cos(turn), 1 - width]) / (1 + width)
