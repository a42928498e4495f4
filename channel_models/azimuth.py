"""Azimuth: the replay gap leans against the recorded one, so that high tones are lost and the tracks come apart."""

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
from .skew import WANDER_HZ, Wander, delay, skew_us_read, wander_us_read
from .tape_loss import TRACK_SPACING_MM, azimuth_factor, grid_hz, side_frames, skew_us, step_frames, symmetric_taps

_FILTERS = 9
_GRID_STEPS_A_TAP = 16
"""The response has no cusp: what rings beyond that lies 80 dB down and more (calculated)."""

_PROBE_HZ = 6300.0


@dataclass(frozen=True)
class Azimuth(Treatment):
    """One angle, static and wandering, and both of its effects: sin(x) / x on each track, and the right track late.

    With ``same_deck`` the recording was made by the head that replays it: the static angle cancels, drawn or given,
    and the wander, which comes from the tape, stays.
    """

    name = "azimuth"
    summary = "azimuth error: treble lost and skew, from one angle"
    place = "replay"

    azimuth_arcmin: float = parameter(
        0.0, "angle between the two decks; positive has right after left", unit="arcmin", low=-120.0, high=120.0
    )
    azimuth_arcmin_sd: float = parameter(
        0.0, "standard deviation of a further angle, drawn anew for every tape", unit="arcmin", low=0.0, high=60.0
    )
    wander_arcmin: float = parameter(
        0.0, "slow change of the angle, peak to peak, at 0.5 to 2 Hz", unit="arcmin", low=0.0, high=30.0
    )
    same_deck: bool = parameter(False, "recorded and replayed by the same head")

    @classmethod
    def nothing(cls) -> Self:
        return cls()

    @property
    def idle(self) -> bool:
        still = self.same_deck or (self.azimuth_arcmin == 0 and self.azimuth_arcmin_sd == 0)
        return still and self.wander_arcmin == 0

    def treat(self, samples: NDArray[np.float32], sample_rate_hz: int, rng: np.random.Generator) -> None:
        from ..kernels.varying_filter import vary

        drawn_arcmin = self.azimuth_arcmin + self.azimuth_arcmin_sd * gaussian(rng)
        still_arcmin = 0.0 if self.same_deck else drawn_arcmin
        swing_arcmin = self.wander_arcmin / 2
        wander = Wander.drawn(rng)

        frames = samples.shape[1]
        step = step_frames(sample_rate_hz, WANDER_HZ[1])
        places = np.arange(-(-frames // step) + 1)
        if swing_arcmin:
            filters = ((wander.at(places * (step / sample_rate_hz)) + 1) * ((_FILTERS - 1) / 2)).astype(np.float32)
        else:
            filters = np.zeros(places.size, np.float32)
        taps = _taps(still_arcmin - swing_arcmin, still_arcmin + swing_arcmin, sample_rate_hz)
        for row in samples:
            vary(row, 0, frames, taps, filters, step)
        # The skew is straight in the angle to 1e-4 over 60 arcmin.
        per_arcmin_s = skew_us(1.0, TRACK_SPACING_MM) * 1e-6
        delay(samples[1], sample_rate_hz, skew_us(still_arcmin) * 1e-6, swing_arcmin * per_arcmin_s, wander)

    @classmethod
    def calibrations(cls) -> tuple[Calibration, ...]:
        loss = "the filter follows the formula to 0.01 dB above 1 kHz"
        skew = "geometry: 0.9 mm tan(a) / 47.6 mm/s; interpolation noise 70 dB down turns 2 kHz by 0.03 us"
        wander = f"{skew}; the 10 ms steps of the reading take off 5e-4 of the wander"
        leaning = cls(azimuth_arcmin=15.0)
        return (
            Calibration("azimuth_arcmin", leaning, tone(_PROBE_HZ, 1.0), _gain_db, -1.789, 0.02, loss),
            Calibration("azimuth_arcmin", leaning, tone(2000.0, 2.0), skew_us_read, 82.5, 0.05, skew),
            Calibration("wander_arcmin", cls(wander_arcmin=2.0), tone(2000.0, 6.0), wander_us_read, 11.0, 0.1, wander),
        )


def _taps(least_arcmin: float, most_arcmin: float, sample_rate_hz: int) -> NDArray[np.float32]:
    arcmin = np.linspace(least_arcmin, most_arcmin, _FILTERS)[:, None]
    side = side_frames(sample_rate_hz, lowest_hz=2800.0)
    responses = azimuth_factor(arcmin, grid_hz(sample_rate_hz, _GRID_STEPS_A_TAP * side))
    return symmetric_taps(responses, side)


def _gain_db(signal: Signal) -> float:
    left, right = inner(signal)
    peaks = abs(phasor(left, _PROBE_HZ, RATE_HZ)), abs(phasor(right, _PROBE_HZ, RATE_HZ))
    return float(20 * math.log10(sum(peaks)))
