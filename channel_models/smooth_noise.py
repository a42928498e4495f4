"""Noise that changes slowly: drawn on an even grid of seconds, whatever the sample rate, and a cubic B-spline between.

A spline has no kinks, and a grid in absolute time makes a longer tape start like a shorter one.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from .band import gain, slopes

_WARM_UP_S = 4
EXTRA = 4
"""A spline needs this many more coefficients than grid steps."""

WHITE_POWER = 2416 / 5040
"""Mean square of a cubic B-spline with white coefficients of deviation 1: the middle sample of the one of degree 7."""


@dataclass(frozen=True)
class SmoothNoise:
    """Gaussian noise of rms 1 between two frequencies, second-order slopes, on a grid of ``grid_hz``."""

    low_hz: float
    high_hz: float
    grid_hz: int = 256

    def drawn(self, duration_s: float, rng: np.random.Generator) -> NDArray[np.float64]:
        """Coefficients for at least ``duration_s``; time 0 lies on the second one."""
        steps = math.ceil(duration_s * self.grid_hz) + EXTRA
        return self.shaped(rng.standard_normal(_WARM_UP_S * self.grid_hz + steps))

    def shaped(self, white: NDArray[np.float64]) -> NDArray[np.float64]:
        """Coefficients from white noise of deviation 1 that starts four seconds early."""
        from ..kernels.filters import STATE, section

        sections, rms = self._filter
        noise = (white / rms).astype(np.float32)
        for coefficients in sections:
            section(noise, np.zeros_like(noise), coefficients, np.zeros(STATE))
        return noise[_WARM_UP_S * self.grid_hz :].astype(np.float64)

    def spectrum(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Frequencies in Hz, and the share of the power at each."""
        hz, power = self._splined()
        return hz, power / power.sum()

    @cached_property
    def _filter(self) -> tuple[NDArray[np.float64], float]:
        """The filter that smooths the noise, and the rms of white noise of deviation 1 after it and the spline."""
        return self._sections(), math.sqrt(float(self._splined()[1].mean()))

    def _sections(self) -> NDArray[np.float64]:
        return slopes(self.low_hz, self.high_hz, 2, self.grid_hz)

    def _splined(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        hz = self.grid_hz / 2 * (np.arange(8192) + 0.5) / 8192
        w = 2 * np.pi * hz / self.grid_hz
        # The mean power of a cubic B-spline with coefficients of that spectrum: the samples of the one of degree 7.
        splined = (2416 + 2382 * np.cos(w) + 240 * np.cos(2 * w) + 2 * np.cos(3 * w)) / 5040
        return hz, gain(self._sections(), hz, self.grid_hz) ** 2 * splined


def spline(coefficients: NDArray[np.float64], places: NDArray[np.float64]) -> NDArray[np.float64]:
    """Cubic B-splines at ``places``; place 0 lies on the second coefficient.

    Args:
        coefficients: of one spline or of several, along the last axis.
        places: shape (places,).

    Returns:
        shape (places,), or (splines, places).
    """
    from ..kernels.spline import splines

    rows = np.atleast_2d(coefficients)
    out = np.empty((len(rows), places.size))
    splines(rows, places, out)
    return out.reshape(*coefficients.shape[:-1], places.size)
