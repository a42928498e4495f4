"""The wow and flutter meter: a tone's frequency, weighted, read by the 2-sigma method of IEC 60386 / AES6-2008.

The tone is brought down to zero frequency and the advance of its phase from output to output is its frequency. Where a
track drops out the other one carries the reading, and where both do it is bridged by a straight line.

Readings are zero to peak, as +- percent: the value that the magnitude exceeds for 5 % of the time. A sinusoidal waver
of peak A reads A sin(0.95 pi / 2) = 0.997 A.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .figures import Figure, jackknife
from .tone import Baseband, baseband, peak_hz, settle_s
from .weighting import flutter_weighting

HALF_WIDTH_HZ = 250.0
"""Waver up to here is followed: the weighting ends at 200 Hz."""

SETTLE_S = 4.0
"""The weighting listens this long to either side: it is steepest at 0.2 to 0.5 Hz."""

BLOCK_S = 5.0
"""The standard reads at least this long (AES6-2008); blocks of it are taken as independent."""

EXCEEDED = 0.05

SINE_READS = math.sin((1 - EXCEEDED) * math.pi / 2)
"""Reading of a sine of peak 1: 0.997."""

_UNWEIGHTED_HZ = (0.2, 200.0)
_LOST = 0.5


@dataclass(frozen=True, slots=True, eq=False)
class Waver:
    """How a tone's frequency went.

    Attributes:
        mean_hz: its mean.
        percent: deviation from the mean in %, shape (outputs,).
        rate_hz: outputs a second.
        start_s: time of the first on the capture.
        bridged: share of the time in which the tone was lost.
    """

    mean_hz: float
    percent: NDArray[np.float64]
    rate_hz: float
    start_s: float
    bridged: float

    @property
    def times_s(self) -> NDArray[np.float64]:
        """Time of each output on the capture."""
        return self.start_s + np.arange(self.percent.size) / self.rate_hz


def tone_on(samples: NDArray[np.float32], sample_rate_hz: int, near_hz: float, start: int, stop: int) -> list[Baseband]:
    """The tone near ``near_hz`` (within 1 %) at baseband on each row, ready for ``waver``."""
    rows = [row[start:stop] for row in samples]
    strongest = max(rows, key=lambda row: float(np.square(row, dtype=np.float64).sum()))
    centre_hz = peak_hz(strongest, sample_rate_hz, 0.99 * near_hz, 1.01 * near_hz)
    return [baseband(row, sample_rate_hz, centre_hz, HALF_WIDTH_HZ, start, stop) for row in samples]


def waver(tracks: Sequence[Baseband]) -> Waver:
    """The frequency of one tone heard on one or more tracks at once."""
    first = tracks[0]
    advance = np.sum([track.values[1:] * track.values[:-1].conj() for track in tracks], axis=0)
    strength = np.abs(advance)
    lost = strength < _LOST**2 * float(np.median(strength))
    # Beside a gap the filter hears one side only, which looks like a change of frequency.
    beside = round(settle_s(HALF_WIDTH_HZ) * first.rate_hz)
    heard = np.convolve(lost, np.ones(2 * beside + 1), "same") < 0.5
    hz = first.centre_hz + np.angle(advance) * first.rate_hz / (2 * np.pi)
    if heard.any() and not heard.all():
        places = np.arange(hz.size)
        hz = np.interp(places, places[heard], hz[heard])
    mean_hz = float(hz.mean())
    start_s = first.start_s + 0.5 / first.rate_hz
    return Waver(mean_hz, 100 * (hz / mean_hz - 1), first.rate_hz, start_s, 1 - float(heard.mean()))


def weighted(heard: Waver) -> NDArray[np.float64]:
    """Deviation in % after the weighting, the time in which it settles left out."""
    return _weighted_by(heard, flutter_weighting)


def unweighted(heard: Waver) -> NDArray[np.float64]:
    """Deviation in % between 0.2 and 200 Hz (common practice), without weighting."""
    return _weighted_by(heard, band)


def band(hz: NDArray[np.float64]) -> NDArray[np.float64]:
    """Slopes of second order at both ends of 0.2 to 200 Hz."""
    low, high = _UNWEIGHTED_HZ
    return np.asarray((hz / low) ** 2 / np.sqrt(1 + (hz / low) ** 4) / np.sqrt(1 + (hz / high) ** 4))


def _weighted_by(heard: Waver, weight: Callable[[NDArray[np.float64]], NDArray[np.float64]]) -> NDArray[np.float64]:
    """The deviation with its spectrum weighted; both ends, where the weighting runs out of signal, are left out."""
    settle = min(round(SETTLE_S * heard.rate_hz), heard.percent.size // 3)
    if heard.percent.size < 3:
        return heard.percent[:0]
    spectrum = np.fft.rfft(heard.percent - heard.percent.mean())
    hz = np.asarray(np.fft.rfftfreq(heard.percent.size, 1 / heard.rate_hz), np.float64)
    return np.asarray(np.fft.irfft(spectrum * weight(hz), heard.percent.size)[settle : heard.percent.size - settle])


def two_sigma(percent: NDArray[np.float64]) -> float:
    """The value that the magnitude exceeds for 5 % of the time.

    >>> round(two_sigma(np.sin(np.linspace(0, 2 * np.pi, 100_001))), 3)
    0.997
    """
    return float(np.quantile(np.abs(percent), 1 - EXCEEDED))


def reading(name: str, stretches: Sequence[NDArray[np.float64]], rate_hz: float, method: str) -> Figure | None:
    """The 2-sigma reading of stretches of deviation together; None if they hold fewer than two blocks of 5 s.

    The interval is the jackknife's over blocks of at least 5 s.
    """
    blocks = [
        block
        for stretch in stretches
        if stretch.size >= BLOCK_S * rate_hz
        for block in np.array_split(stretch, int(stretch.size / (BLOCK_S * rate_hz)))
    ]
    if len(blocks) < 2:
        return None
    whole = two_sigma(np.concatenate(blocks))
    left_out = [two_sigma(np.concatenate(blocks[:i] + blocks[i + 1 :])) for i in range(len(blocks))]
    half = jackknife(np.array(left_out), whole)
    return Figure(name, whole, max(0.0, whole - half), whole + half, method)
