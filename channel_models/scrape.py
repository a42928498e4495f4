"""Scrape flutter: free lengths of tape that ring along themselves, like strings that are bowed."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from .smooth_noise import EXTRA, WHITE_POWER

SCRAPE_HZ = (2500.0, 5500.0)
"""Free lengths of some 150 to 350 mm at the 1.8 km/s of polyester (modelling prior)."""

_LOOP_FRAMES = 16_384
_SWELLS_HZ = 200.0


def scrape(samples: NDArray[np.float32], percent: float, sample_rate_hz: int, rng: np.random.Generator) -> None:
    """Shift the tape to and fro by nanoseconds, in place: the slope of the sound times the shift.

    A band of noise of ``percent`` rms speed that swells some hundred times a second, so that it never repeats.
    """
    loop = _loop(percent, sample_rate_hz, rng)
    if loop is None:
        return
    from ..kernels import scrape as kernel

    left, right = samples
    per_frame = _SWELLS_HZ / sample_rate_hz
    swells = rng.standard_normal(math.ceil(left.size * per_frame) + EXTRA, np.float32)
    # The kernel multiplies by one plus the spline, and a spline of minus ones is minus one.
    swells *= np.float32(1 / math.sqrt(WHITE_POWER))
    swells -= np.float32(1)
    kernel.scrape(left, right, loop, swells, per_frame)


def _loop(percent: float, sample_rate_hz: int, rng: np.random.Generator) -> NDArray[np.float32] | None:
    """A twelfth of the shift in frames, over a loop that closes; None if the sample rate has no room for the band."""
    if sample_rate_hz / 2 < SCRAPE_HZ[1]:
        return None
    step_hz = sample_rate_hz / _LOOP_FRAMES
    first, last = math.ceil(SCRAPE_HZ[0] / step_hz), math.floor(SCRAPE_HZ[1] / step_hz)
    # White speed within the band; the shift is its integral.
    reals, imaginaries = rng.standard_normal((2, last + 1 - first))
    shift = np.zeros(_LOOP_FRAMES // 2 + 1, np.complex64)
    band = shift[first : last + 1]
    band.real, band.imag = imaginaries, -reals
    scale = percent / 100 * _LOOP_FRAMES / math.sqrt(2 * float((reals * reals + imaginaries * imaginaries).sum()))
    band *= (scale / 12 / (2 * np.pi) * _LOOP_FRAMES) / np.arange(first, last + 1, dtype=np.float32)
    return np.fft.irfft(shift, _LOOP_FRAMES).astype(np.float32, copy=False)
