"""What the head does not hear: the losses of reproduction as factors of amplitude, and filters that have them.

All of them are real and delay nothing: R. L. Wallace, "The Reproduction of Magnetically Recorded Signals", BSTJ 30
(1951), for spacing and thickness (form from memory), gap and azimuth from the textbooks.
"""

from __future__ import annotations

import math
from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

TAPE_SPEED_MM_PER_S = 47.6
"""4.76 cm/s: IEC 60094-1, as reported by a secondary text."""

TRACK_WIDTH_MM = 0.6
TRACK_SPACING_MM = 0.9
"""Stereo tracks 0.6 mm wide, 0.3 mm apart: an encyclopedia, citing a technical review of 1970."""

LOWEST_SIDE_HZ = 1000.0
"""The filters are as long as it takes to be right from here on; below, they round off the cusp at 0 Hz."""

_MOST_SIDE_S = 0.02
_GRID = 8192


def waves_per_um(frequency_hz: ArrayLike) -> NDArray[np.float64]:
    """One over the wavelength on the tape.

    >>> round(1 / float(waves_per_um(10_000.0)), 2)
    4.76
    """
    return np.asarray(frequency_hz, np.float64) / (1000 * TAPE_SPEED_MM_PER_S)


def spacing_factor(spacing_um: ArrayLike, frequency_hz: ArrayLike) -> NDArray[np.float64]:
    """Wallace's spacing loss, exp(-2 pi d / wavelength): 54.575 dB for each wavelength of distance.

    >>> round(-20 * math.log10(spacing_factor(1.0, 10_000.0)), 3)
    11.465
    """
    return np.exp(-2 * np.pi * np.asarray(spacing_um) * waves_per_um(frequency_hz))


def gap_factor(gap_um: float, frequency_hz: ArrayLike) -> NDArray[np.float64]:
    """sin(x) / x with x = pi g / wavelength, for a gap of that effective length."""
    return np.sinc(gap_um * waves_per_um(frequency_hz))


def thickness_factor(thickness_um: float, frequency_hz: ArrayLike) -> NDArray[np.float64]:
    """(1 - exp(-x)) / x with x = 2 pi t / wavelength, for a coat magnetised evenly through its depth."""
    x = 2 * np.pi * thickness_um * waves_per_um(frequency_hz)
    return np.where(x > 1e-9, -np.expm1(-x) / np.maximum(x, 1e-9), 1.0)


def azimuth_factor(arcmin: ArrayLike, frequency_hz: ArrayLike, width_mm: float = TRACK_WIDTH_MM) -> NDArray[np.float64]:
    """sin(x) / x with x = pi w tan(a) / wavelength."""
    return np.sinc(1000 * width_mm * np.tan(np.radians(np.asarray(arcmin) / 60)) * waves_per_um(frequency_hz))


def skew_us(arcmin: float, spacing_mm: float = TRACK_SPACING_MM) -> float:
    """Time between the tracks for an azimuth error.

    >>> round(skew_us(15.0), 1)
    82.5
    """
    return spacing_mm * math.tan(math.radians(arcmin / 60)) / TAPE_SPEED_MM_PER_S * 1e6


def step_frames(sample_rate_hz: int, fastest_hz: float) -> int:
    """How often a filter that follows changes of up to ``fastest_hz`` is given: some 15 times a period."""
    from ..kernels.varying_filter import MOST_STEP_FRAMES

    return min(MOST_STEP_FRAMES, max(8, 1 << int(math.log2(sample_rate_hz / (15 * fastest_hz)))))


def side_frames(sample_rate_hz: int, reach_um: float = 0.0, lowest_hz: float = LOWEST_SIDE_HZ) -> int:
    """How many taps a filter needs on either side to be right from ``lowest_hz`` on; spacing makes it longer."""
    from ..kernels.varying_filter import TAPS_AT_ONCE

    frames = sample_rate_hz / lowest_hz + 8 * sample_rate_hz * reach_um / (1000 * TAPE_SPEED_MM_PER_S)
    longest = min(_MOST_SIDE_S * sample_rate_hz, _GRID / 4)
    return TAPS_AT_ONCE * math.ceil(min(frames, longest) / TAPS_AT_ONCE)


@cache
def grid_hz(sample_rate_hz: int, steps: int = _GRID) -> NDArray[np.float64]:
    """The frequencies at which a response is given to ``symmetric_taps``, shape (steps + 1,).

    Twice as many steps as frames that the filter rings; a cusp rings long.
    """
    return np.linspace(0.0, sample_rate_hz / 2, steps + 1)


def symmetric_taps(responses: NDArray[np.float64], side: int) -> NDArray[np.float32]:
    """Filters with these real responses.

    Args:
        responses: at ``grid_hz``, shape (filters, points).
        side: taps on either side of the middle one.

    Returns:
        Shape (filters, 1 + side), float32, read-only: the middle tap, then outwards.
    """
    fade, shares = _fading(side)
    taps = np.fft.irfft(responses, axis=1)[:, : side + 1]
    taps *= fade
    # What the fading took off at 0 Hz is given back there, over no more than the fading's own width.
    taps += (responses[:, :1] - (2 * taps.sum(axis=1, keepdims=True) - taps[:, :1])) * shares
    found: NDArray[np.float32] = np.ascontiguousarray(taps, np.float32)
    found.flags.writeable = False
    return found


@cache
def _fading(side: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """What the taps are faded out by, and the same as shares of what they sum to on both sides."""
    fade = 0.5 + 0.5 * np.cos(np.pi * np.clip(np.arange(side + 1) / (side + 1) * 1.5 - 0.5, 0, 1))
    return fade, fade / (2 * fade.sum() - fade[0])
