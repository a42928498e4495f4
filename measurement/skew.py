"""Time between the tracks while both carry the same tone, and the azimuth error that would make it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .tone import Baseband

TAPE_SPEED_MM_PER_S = 47.6
"""4.76 cm/s: IEC 60094-1, as reported by a secondary text."""

TRACK_SPACING_MM = 0.9
"""Between the centres of left and right: tracks of 0.6 mm, 0.3 mm apart (as reported by an encyclopedia)."""

TRACK_WIDTH_MM = 0.6

SERIES_HZ = 100.0
WANDER_HIGHEST_HZ = 4.0
"""The azimuth of a running tape wanders more slowly (0.5 to 2 Hz, common practice); noise above is left out."""

_LOST = 0.25


@dataclass(frozen=True, slots=True, eq=False)
class SkewSeries:
    """Right after left along one stretch, in us, fifty times a second; shape (readings,)."""

    us: NDArray[np.float64]
    start_s: float


def azimuth_arcmin(skew_us: float) -> float:
    """The azimuth error for a skew: tan(angle) = v dt / s.

    >>> round(azimuth_arcmin(82.5), 2)
    15.0
    """
    return math.degrees(math.atan(TAPE_SPEED_MM_PER_S * skew_us * 1e-6 / TRACK_SPACING_MM)) * 60


def azimuth_loss_db(arcmin: float, frequency_hz: float) -> float:
    """What an azimuth error takes off one track: sin(x)/x with x = pi w tan(angle) / wavelength.

    >>> round(azimuth_loss_db(15.0, 10_000.0), 2)
    4.86
    """
    turns = TRACK_WIDTH_MM * math.tan(math.radians(arcmin / 60)) * frequency_hz / TAPE_SPEED_MM_PER_S
    return -20 * math.log10(max(abs(float(np.sinc(turns))), 1e-10))


def unmixed(
    left: NDArray[np.complex128], right: NDArray[np.complex128], leak: tuple[complex, complex]
) -> tuple[NDArray[np.complex128], NDArray[np.complex128]]:
    """Both tracks without what each got of the other.

    Args:
        left, right: the same tone on both tracks.
        leak: complex share from left to right and from right to left.
    """
    there, back = leak
    whole = 1 - there * back
    return (left - back * right) / whole, (right - there * left) / whole


def skew_series(
    left: Baseband, right: Baseband, leak: tuple[complex, complex], near_us: float, *, opposite: bool
) -> SkewSeries:
    """The skew along a tone.

    Args:
        near_us: what it is to within a quarter of a period of the tone, to choose among its periods.
        opposite: whether the polarity of the tracks differs.
    """
    one, other = unmixed(left.values, right.values, leak)
    product = one * other.conj() * (-1 if opposite else 1)
    strength = np.minimum(np.abs(one) / np.median(np.abs(one)), np.abs(other) / np.median(np.abs(other)))
    product = np.where(strength > _LOST, product / np.maximum(np.abs(product), 1e-300), 0)
    every = max(1, round(left.rate_hz / SERIES_HZ))
    whole = product.size // every * every
    sums = product[:whole].reshape(-1, every).sum(axis=1)
    turn_us = 1e6 / left.centre_hz
    expected = np.exp(2j * np.pi * near_us / turn_us)
    us = near_us + np.angle(sums * expected.conj()) / (2 * np.pi) * turn_us
    heard = np.abs(sums) > 0.3 * every
    if heard.any():
        places = np.arange(us.size)
        us = np.interp(places, places[heard], us[heard])
    return SkewSeries(us, left.start_s + every / 2 / left.rate_hz)


def wander_square(us: NDArray[np.float64]) -> float:
    """Mean square of a stretch about its mean between 0.3 and 4 Hz, less what noise puts there.

    Noise is read between 6 and 20 Hz, where the azimuth of a running tape no longer wanders.
    """
    window = np.hanning(us.size)
    spectrum = np.abs(np.fft.rfft((us - us.mean()) * window)) ** 2 * 2 / (us.size * float((window**2).sum()))
    hz = np.fft.rfftfreq(us.size, 1 / SERIES_HZ)
    slow, fast = (hz > 0.3) & (hz <= WANDER_HIGHEST_HZ), (hz >= 6.0) & (hz <= 20.0)
    return float(spectrum[slow].sum() - spectrum[fast].mean() * slow.sum())


def wander_level_square(series: Sequence[SkewSeries], tone_hz: float, reference_s: float) -> float:
    """Mean square in dB of what the wander of an azimuth error does to the level of a tone, on both tracks alike.

    Args:
        reference_s: the level is taken re its mean over so long.
    """
    size = round(reference_s * SERIES_HZ)
    long_enough = [one.us for one in series if one.us.size > size]
    if not long_enough:
        return 0.0
    mean_us = float(np.mean([us.mean() for us in long_enough]))
    below_db, above_db = (azimuth_loss_db(azimuth_arcmin(mean_us + us), tone_hz) for us in (-0.5, 0.5))
    slope_db = above_db - below_db
    moving = [us - mean_us for us in long_enough]
    blocks = blocks_of([us - np.convolve(us, np.ones(size) / size, "same") for us in moving])
    return max(0.0, float(np.mean([wander_square(block) for block in blocks]))) * slope_db**2 if blocks else 0.0


def blocks_of(series: Sequence[NDArray[np.float64]], seconds: float = 5.0) -> list[NDArray[np.float64]]:
    """Stretches cut into blocks of at least ``seconds``; a stretch that is shorter gives none."""
    size = seconds * SERIES_HZ
    return [part for one in series if one.size >= size for part in np.array_split(one, int(one.size / size))]
