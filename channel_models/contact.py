"""Contact: the tape does not lie on the head equally well at all times."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Self

import numpy as np
from numpy.typing import NDArray

from ..contracts.channel_model import Calibration, Treatment
from ..contracts.parameters import parameter
from ..contracts.signal import Signal
from .reading import RATE_HZ, inner, phasor, tone
from .smooth_noise import SmoothNoise, spline
from .tape_loss import TAPE_SPEED_MM_PER_S, grid_hz, side_frames, spacing_factor, step_frames, symmetric_taps

FLUCTUATION = SmoothNoise(1.0, 20.0)
MOST = 3.0
"""The distance never strays further than this many times its rms value."""

_FILTERS = 33
_PROBE_HZ = 6300.0


@dataclass(frozen=True)
class Contact(Treatment):
    """The distance of head and tape about its mean, through the spacing loss: high tones waver more than low ones.

    Both tracks waver together. The mean itself belongs to ``head_losses``.
    """

    name = "contact"
    summary = "head-to-tape contact that fluctuates"
    place = "tape"

    fluctuation_um: float = parameter(0.1, "rms change of the distance, 1 to 20 Hz", unit="um", low=0.0, high=1.0)

    @classmethod
    def nothing(cls) -> Self:
        return cls(fluctuation_um=0.0)

    def distances_um(self, frames: int, sample_rate_hz: int, rng: np.random.Generator) -> NDArray[np.float64]:
        """The distance less its mean, every few frames and at the end."""
        step = step_frames(sample_rate_hz, FLUCTUATION.high_hz)
        places = np.arange(math.ceil(frames / step) + 1, dtype=np.float64)
        step_s = step / sample_rate_hz
        drawn = FLUCTUATION.drawn(places.size * step_s, rng)
        return self.fluctuation_um * np.clip(spline(drawn, places * (step_s * FLUCTUATION.grid_hz)), -MOST, MOST)

    def treat(self, samples: NDArray[np.float32], sample_rate_hz: int, rng: np.random.Generator) -> None:
        from ..kernels.varying_filter import vary

        frames = samples.shape[1]
        reach_um = MOST * self.fluctuation_um
        distances_um = self.distances_um(frames, sample_rate_hz, rng)
        places = ((distances_um / reach_um + 1) * ((_FILTERS - 1) / 2)).astype(np.float32)
        filters = _filters(reach_um, sample_rate_hz)
        for row in samples:
            vary(row, 0, frames, filters, places, step_frames(sample_rate_hz, FLUCTUATION.high_hz))

    @classmethod
    def calibrations(cls) -> tuple[Calibration, ...]:
        reason = (
            "noise of some 18 Hz over 120 s has 2 x 18 x 120 = 4,300 degrees of freedom, s.e. of its rms 1.1 %: 5 of "
            "them; the cut at 3 s.d. takes off 0.5 %, the reading in steps of 10 ms up to 1 %"
        )
        model = cls(fluctuation_um=0.1)
        return (Calibration("fluctuation_um", model, tone(_PROBE_HZ, 120.0), _fluctuation_um, 0.1, 0.007, reason),)


@lru_cache(maxsize=8)
def _filters(reach_um: float, sample_rate_hz: int) -> NDArray[np.float32]:
    distances_um = np.linspace(-reach_um, reach_um, _FILTERS)[:, None]
    # Beyond the audible band a tape that comes nearer must not bring up what is not there.
    hz = np.minimum(grid_hz(sample_rate_hz), 20_000.0)
    return symmetric_taps(spacing_factor(distances_um, hz), side_frames(sample_rate_hz, lowest_hz=2000.0))


def _fluctuation_um(signal: Signal) -> float:
    rows = inner(signal)
    step = RATE_HZ // 100
    pieces = rows[0, : rows.shape[1] // step * step].reshape(-1, step)
    levels_db = [20 * np.log10(abs(phasor(piece, _PROBE_HZ, RATE_HZ))) for piece in pieces]
    return float(np.std(levels_db) / (54.575 * _PROBE_HZ / (1000 * TAPE_SPEED_MM_PER_S)))
