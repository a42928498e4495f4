"""Head losses: spacing, gap and thickness, as far as they differ from the chain that was aligned."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Self

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..contracts.channel_model import Calibration, Treatment
from ..contracts.parameters import parameter
from ..contracts.signal import Signal
from .reading import RATE_HZ, inner, phasor, tone
from .tape_loss import gap_factor, grid_hz, side_frames, spacing_factor, symmetric_taps, thickness_factor

SPACING_UM_PER_PASS = 0.0025
"""A head and a tape wear: a hundred plays put them this much further apart times a hundred (modelling prior)."""

_LEAST_FACTOR = 1e-5
_MOST_GAIN = 10.0
_PROBE_HZ = 6300.0


@dataclass(frozen=True)
class HeadLosses(Treatment):
    """Losses re a chain aligned with the ``aligned`` figures: what those cost is in its band already.

    Spacing by Wallace's exp(-2 pi d / wavelength), the gap by sin(x) / x of its effective length, the thickness for a
    coat magnetised evenly. None of them turns a phase. ``passes`` plays add 0.0025 um of spacing each.
    """

    name = "head_losses"
    summary = "spacing, gap and thickness losses that differ from the aligned chain"
    place = "replay"

    spacing_um: float = parameter(0.25, "distance of head and tape", unit="um", low=0.0, high=20.0)
    gap_um: float = parameter(1.5, "optical length of the replay gap", unit="um", low=0.0, high=10.0)
    thickness_um: float = parameter(4.0, "thickness of the coat", unit="um", low=0.0, high=20.0)
    aligned_spacing_um: float = parameter(
        0.25, "distance with which the chain was aligned", unit="um", low=0.0, high=20.0
    )
    aligned_gap_um: float = parameter(1.5, "gap with which the chain was aligned", unit="um", low=0.0, high=10.0)
    aligned_thickness_um: float = parameter(4.0, "coat with which the chain was aligned", unit="um", low=0.0, high=20.0)
    gap_factor: float = parameter(
        1.11, "effective length of a gap re its optical one; sources have 1 to 1.14", low=1.0, high=1.2
    )
    passes: int = parameter(0, "plays that the tape has had since", low=0, high=100_000)

    @classmethod
    def nothing(cls) -> Self:
        return cls()

    @property
    def idle(self) -> bool:
        return (self.worn_um, self.gap_um, self.thickness_um) == (
            self.aligned_spacing_um,
            self.aligned_gap_um,
            self.aligned_thickness_um,
        )

    @property
    def worn_um(self) -> float:
        """The distance after all plays."""
        return self.spacing_um + SPACING_UM_PER_PASS * self.passes

    def response(self, frequency_hz: ArrayLike) -> NDArray[np.float64]:
        """Amplitude re the aligned chain; real, negative beyond the null of a gap."""
        found = spacing_factor(self.worn_um - self.aligned_spacing_um, frequency_hz)
        for one, now, aligned in (
            (gap_factor, self.gap_factor * self.gap_um, self.gap_factor * self.aligned_gap_um),
            (thickness_factor, self.thickness_um, self.aligned_thickness_um),
        ):
            if now != aligned:
                was = one(aligned, frequency_hz)
                found = found * one(now, frequency_hz) / np.copysign(np.maximum(np.abs(was), _LEAST_FACTOR), was)
        return np.clip(found, -_MOST_GAIN, _MOST_GAIN)

    def treat(self, samples: NDArray[np.float32], sample_rate_hz: int, rng: np.random.Generator) -> None:
        from ..kernels.varying_filter import MOST_STEP_FRAMES, vary

        frames = samples.shape[1]
        still = np.zeros(-(-frames // MOST_STEP_FRAMES) + 1, np.float32)
        taps = _taps(self, sample_rate_hz)
        for row in samples:
            vary(row, 0, frames, taps, still, MOST_STEP_FRAMES)

    @classmethod
    def calibrations(cls) -> tuple[Calibration, ...]:
        reason = "the filter follows the formula to 0.01 dB above 1 kHz; reading of a tone below 0.001 dB"
        bare = cls(
            spacing_um=0.0,
            gap_um=0.0,
            thickness_um=0.0,
            aligned_spacing_um=0.0,
            aligned_gap_um=0.0,
            aligned_thickness_um=0.0,
        )
        probe = tone(_PROBE_HZ, 1.0)
        return (
            Calibration("spacing_um", replace(bare, spacing_um=1.0), probe, _gain_db, -7.223, 0.02, reason),
            Calibration("gap_um", replace(bare, gap_um=3.0), probe, _gain_db, -2.978, 0.02, reason),
            Calibration("thickness_um", replace(bare, thickness_um=4.0), probe, _gain_db, -10.757, 0.02, reason),
        )


@lru_cache(maxsize=16)
def _taps(model: HeadLosses, sample_rate_hz: int) -> NDArray[np.float32]:
    reach_um = abs(model.worn_um - model.aligned_spacing_um) + abs(model.thickness_um - model.aligned_thickness_um)
    one = model.response(grid_hz(sample_rate_hz))
    return symmetric_taps(np.stack((one, one)), side_frames(sample_rate_hz, reach_um))


def _gain_db(signal: Signal) -> float:
    return float(20 * np.log10(np.mean([abs(phasor(row, _PROBE_HZ, RATE_HZ)) for row in inner(signal)]) / 0.5))
