"""Wow and flutter: what turns in a deck, and how much of each a meter hears.

The weighting is that of IEC 60386 / AES6-2008, the reading the value exceeded for 5 % of the time.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .reels import HUB_MM, TAPE_UM, pack_radius_mm, turns_per_s
from .smooth_noise import SmoothNoise
from .tape_loss import TAPE_SPEED_MM_PER_S

CAPSTAN_SHARE, ROLLER_SHARE, REELS_SHARE, NOISE_SHARE = 0.45, 0.20, 0.05, 0.30
"""Shares of the weighted power (modelling prior): both reels together, and smooth noise."""

NOISE = SmoothNoise(0.5, 40.0)

WEIGHTING_HZ = (0.1, 0.2, 0.315, 0.4, 0.63, 0.8, 1.0, 1.6, 2.0, 4.0, 6.3, 10.0, 20.0, 40.0, 63.0, 100.0, 200.0)
WEIGHTING_DB = (
    *(-48.0, -30.6, -19.7, -15.0, -8.4, -6.0, -4.2, -1.8, -0.9),
    *(0.0, -0.9, -2.1, -5.9, -10.4, -14.2, -17.3, -23.0),
)
"""Wow and flutter weighting of IEC 60386 / AES6-2008, from a public implementation that quotes the table."""
_PLACES = np.log(WEIGHTING_HZ)

DIAMETERS_DIFFER = 0.1
"""Each deck's capstan and roller are drawn within this share of the given diameters (modelling prior)."""


def weighting(frequency_hz: ArrayLike) -> NDArray[np.float64]:
    """Weighting as an amplitude factor, interpolated in dB over the logarithm of frequency.

    >>> round(float(weighting(0.8)), 4)
    0.5012
    """
    places = np.log(np.maximum(frequency_hz, 1e-3))
    # Beyond the table's ends the slopes of its last steps go on.
    low, second, last_but_one, high = _PLACES[[0, 1, -2, -1]]
    steepest = (WEIGHTING_DB[1] - WEIGHTING_DB[0]) / (second - low)
    falling = (WEIGHTING_DB[-1] - WEIGHTING_DB[-2]) / (high - last_but_one)
    db = np.interp(places, _PLACES, WEIGHTING_DB)
    db += steepest * np.minimum(places - low, 0.0) + falling * np.maximum(places - high, 0.0)
    return np.asarray(10 ** (db / 20))


@dataclass(frozen=True)
class Turning:
    """Something round that turns: one sine of speed.

    Attributes:
        percent: its peak speed deviation.
        hz: how often it turns at the start.
        growing_s: playing time of the pack on it at the start, if it is a reel; None if its size stays.
        sign: +1 if the pack grows, -1 if it shrinks.
    """

    percent: float
    hz: float
    growing_s: float | None = None
    sign: int = 1

    def turns(self, times_s: NDArray[np.float64]) -> NDArray[np.float64]:
        """How often it has turned since the start."""
        if self.growing_s is None:
            return self.hz * times_s
        wound_s = self.growing_s + self.sign * times_s
        layers = self.sign * (pack_radius_mm(wound_s) - pack_radius_mm(self.growing_s)) * 1000 / TAPE_UM
        # Past the end of the tape the empty hub goes on.
        beyond_s = np.maximum(-wound_s, 0.0)
        return np.asarray(layers + beyond_s * TAPE_SPEED_MM_PER_S / (2 * np.pi * HUB_MM))


def rotation_hz(diameter_mm: float) -> float:
    """How fast the tape turns what has this diameter.

    >>> round(rotation_hz(2.2), 3)
    6.887
    """
    return TAPE_SPEED_MM_PER_S / (math.pi * diameter_mm)


def parts(
    weighted_percent: float,
    capstans_mm: Sequence[float],
    rollers_mm: Sequence[float],
    left_s: float,
    played_s: float,
) -> tuple[list[Turning], float]:
    """What makes a meter read ``weighted_percent``: the turning parts of all decks, and the rms of smooth noise in %.

    Args:
        weighted_percent: weighted, 2-sigma.
        capstans_mm, rollers_mm: diameters, one for each deck.
        left_s, played_s: playing time of the tape still to come, and of that already wound, at the start.
    """
    decks = len(capstans_mm)
    rms = weighted_percent / two_sigma_factor(decks)
    steady_hz = [rotation_hz(diameter_mm) for diameter_mm in (*capstans_mm, *rollers_mm)]
    reels_hz = turns_per_s((left_s, played_s)).tolist()
    steady = [rms * math.sqrt(2 * share / decks) for share in (CAPSTAN_SHARE, ROLLER_SHARE) for _ in range(decks)]
    reels = [rms * math.sqrt(REELS_SHARE / decks)] * 2
    hz = steady_hz + reels_hz
    percents = (np.array(steady + reels) / weighting(hz)).tolist()
    found = [Turning(percent, turns_hz) for percent, turns_hz in zip(percents[:-2], steady_hz, strict=True)]
    found += [Turning(percents[-2], reels_hz[0], left_s, -1)] * decks
    found += [Turning(percents[-1], reels_hz[1], played_s, 1)] * decks
    return found, rms * math.sqrt(NOISE_SHARE) / _noise_weight()


@cache
def _noise_weight() -> float:
    """Weighted rms of the smooth noise of rms 1."""
    hz, power = NOISE.spectrum()
    return math.sqrt(float((power * weighting(hz) ** 2).sum()))


@cache
def two_sigma_factor(decks: int) -> float:
    """The 2-sigma reading of all parts together re their weighted rms: between a sine's 1.41 and a Gaussian's 1.96.

    From the characteristic function of independent sines, Bessel's J0 each, and a Gaussian:
    P(|x| < q) = 2 / pi times the integral of sin(q t) / t times it.
    """
    peaks = [
        math.sqrt(2 * share / count)
        for share, count in ((CAPSTAN_SHARE, decks), (ROLLER_SHARE, decks), (REELS_SHARE, 2 * decks))
        for _ in range(count)
    ]
    t = (np.arange(4000) + 0.5) * 0.005
    angles = np.pi * (np.arange(64) + 0.5) / 64
    told = np.exp(-NOISE_SHARE * t * t / 2)
    for peak in peaks:
        told = told * np.cos(np.outer(t, peak * np.cos(angles))).mean(axis=1)
    low, high = 1.0, 3.0
    for _ in range(40):
        middle = (low + high) / 2
        within = 2 / np.pi * float((np.sin(middle * t) / t * told).sum()) * 0.005
        low, high = (middle, high) if within < 0.95 else (low, middle)
    return middle
