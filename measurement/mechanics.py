"""Lines in the spectrum of wow and flutter, and the turning parts of a deck that would make them.

A part of diameter D turns v / (pi D) times a second. Diameters are common practice; a part whose ranges overlap with
another's cannot be told from it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .figures import student_t
from .skew import TAPE_SPEED_MM_PER_S
from .weighting import flutter_weighting

SEGMENT_S = 10.0
LOWEST_HZ, HIGHEST_HZ = 0.2, 200.0
MOST_LINES = 6

PARTS = (
    ("reels", 22.0, 50.5),
    ("pinch roller", 10.0, 13.0),
    ("guide roller of the shell", 6.0, 8.0),
    ("capstan", 2.0, 3.0),
)
"""Names and the smallest and largest diameter in mm."""

_STANDS_OUT = 6.0
_BELONGS = 2.0
_SLACK = 1.03
_SMALLEST_SHARE = 0.01


@dataclass(frozen=True, slots=True)
class FlutterLine:
    """One component of wow and flutter.

    Attributes:
        frequency_hz: its middle.
        peak_percent, low, high: peak deviation of a sine of its power, and the 95 % interval.
        weighted_share: its share of the weighted power.
        cause: the parts that would turn so.
    """

    frequency_hz: float
    peak_percent: float
    low: float
    high: float
    weighted_share: float
    cause: str


@dataclass(frozen=True, slots=True, eq=False)
class WaverSpectrum:
    """Power of the deviation in %^2 a Hz; ``segments`` has shape (segments, bins), ``hz`` shape (bins,)."""

    hz: NDArray[np.float64]
    segments: NDArray[np.float64]

    @property
    def power(self) -> NDArray[np.float64]:
        """Mean of the segments, shape (bins,)."""
        return np.asarray(self.segments.mean(axis=0))


def cause_of(frequency_hz: float) -> str:
    """The parts that turn that fast, or half as fast.

    >>> cause_of(6.9)
    'capstan'
    """
    named = []
    for times, words in ((1, ""), (2, ", twice a turn")):
        for name, smallest_mm, largest_mm in PARTS:
            slow, fast = (TAPE_SPEED_MM_PER_S / (math.pi * mm) for mm in (largest_mm, smallest_mm))
            if slow / _SLACK <= frequency_hz / times <= fast * _SLACK:
                named.append(name + words)
        if named:
            break
    return " or ".join(named) or ("motor, belt or bearing" if frequency_hz > 8.0 else "belt or idler")


def waver_spectrum(stretches: Sequence[NDArray[np.float64]], rate_hz: float) -> WaverSpectrum | None:
    """The spectrum of stretches of deviation in %; None if none is as long as a segment of 10 s."""
    every = max(1, int(rate_hz / (2.5 * HIGHEST_HZ)))
    size = round(SEGMENT_S * rate_hz) // every * every
    window = np.hanning(size // every)
    scale = 2 / (rate_hz / every * float((window**2).sum()))
    spectra = []
    for stretch in stretches:
        for start in range(0, stretch.size - size + 1, size // 2):
            piece = stretch[start : start + size].reshape(-1, every).mean(axis=1)
            spectra.append(np.abs(np.fft.rfft((piece - piece.mean()) * window)) ** 2 * scale)
    if not spectra:
        return None
    hz = np.fft.rfftfreq(size // every, every / rate_hz)
    inside = hz <= HIGHEST_HZ
    return WaverSpectrum(np.asarray(hz[inside], np.float64), np.array(spectra)[:, inside])


def lines(spectrum: WaverSpectrum) -> tuple[FlutterLine, ...]:
    """The components that stand out of what is about them, those of most weighted power first."""
    hz, power = spectrum.hz, spectrum.power
    allowed = (hz >= LOWEST_HZ) & (hz <= HIGHEST_HZ)
    weight = np.zeros(hz.size)
    weight[allowed] = flutter_weighting(hz[allowed]) ** 2
    whole = float((power * weight).sum()) + 1e-300
    floor = _floor(hz, power)
    left = allowed & (power > _BELONGS * floor)
    found: list[FlutterLine] = []
    while len(found) < MOST_LINES:
        height = np.where(left, power / floor, 0.0)
        top = int(height.argmax())
        if height[top] < _STANDS_OUT:
            break
        first = last = top
        while first > 0 and left[first - 1]:
            first -= 1
        while last + 1 < hz.size and left[last + 1]:
            last += 1
        left[first : last + 1] = False
        own = slice(first, last + 1)
        by_segment = ((spectrum.segments[:, own] - floor[own]).sum(axis=1)) * hz[1]
        square = float(by_segment.mean())
        # Half-overlapped Hann segments count for about three quarters of their number.
        count = max(2, round(0.75 * by_segment.size))
        half = student_t(count) * float(by_segment.std()) / math.sqrt(count)
        middle = float((hz[own] * power[own]).sum() / power[own].sum())
        share = float((power[own] * weight[own]).sum()) / whole
        if square <= 0 or share < _SMALLEST_SHARE:
            continue
        peak, low, high = (math.sqrt(2 * max(0.0, value)) for value in (square, square - half, square + half))
        found.append(FlutterLine(middle, peak, low, high, share, cause_of(middle)))
    return tuple(sorted(found, key=lambda line: -line.weighted_share))


def _floor(hz: NDArray[np.float64], power: NDArray[np.float64]) -> NDArray[np.float64]:
    """The median of what lies within half an octave, at least 1.5 Hz, to either side."""
    reach = np.maximum(1.5, 0.35 * hz) / hz[1]
    floor = np.empty(hz.size)
    for i, near in enumerate(reach.astype(int)):
        floor[i] = np.median(power[max(1, i - near) : i + near + 1])
    return floor + 1e-300


def bands(spectrum: WaverSpectrum) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Middle in Hz and rms in % of each third of an octave from 0.25 to 160 Hz, shape (bands,) each."""
    middles = 10 ** (np.arange(-6, 23) / 10)
    rms = []
    for middle in middles:
        inside = (spectrum.hz >= middle * 10**-0.05) & (spectrum.hz < middle * 10**0.05)
        rms.append(math.sqrt(float(spectrum.power[inside].sum()) * float(spectrum.hz[1])))
    return middles, np.array(rms)
