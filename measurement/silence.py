"""Noise and hum, read in the silence of the test recording or wherever a capture is quietest."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .weighting import a_weighting

BAND_HZ = (20.0, 20_000.0)
MAINS_HZ = (50.0, 60.0)
BLOCK_S = 1.0
HUM_HARMONICS = 8

_STANDS_OUT = 8.0
"""A line counts from this many times the noise in its bin on: noise alone does so once in 3,000 lines."""

_LOBE = 1.94
"""Noise in the bins of a Hann window's main lobe goes together: the variance of their sum re that of separate bins."""

_NEAR_HZ = 1.5
_ABOUT_HZ = 12.0


@dataclass(frozen=True, slots=True, eq=False)
class Noise:
    """What one track gives while nothing is recorded. Powers are mean squares.

    Attributes:
        flat, weighted: power of each block of a second, from 20 Hz to 20 kHz without hum, flat and A-weighted;
            shape (blocks,).
        density: power a Hz on ``hz``, shape (bins,), hum left out.
        hz: of the bins, 1 Hz apart.
        hum: power of the hum lines together; 0 where none stands out.
        hum_error: standard error of that power.
        hum_limit: power that hum could have without being seen.
        mains_hz: 50 or 60, where there is hum.
        highest_hz: end of the band, below 20 kHz where the sample rate is too low.
    """

    flat: NDArray[np.float64]
    weighted: NDArray[np.float64]
    density: NDArray[np.float64]
    hz: NDArray[np.float64]
    hum: float
    hum_error: float
    hum_limit: float
    mains_hz: float | None
    highest_hz: float

    def density_at(self, frequency_hz: float) -> float:
        """Noise power a Hz about a frequency, averaged over 5 % of it and at least 10 Hz."""
        near = np.abs(self.hz - frequency_hz) <= max(10.0, 0.05 * frequency_hz)
        return float(self.density[near].mean()) if near.any() else 0.0


def noise(row: NDArray[np.float32], sample_rate_hz: int) -> Noise | None:
    """The noise of a quiet stretch of one track; None below two seconds."""
    size = round(BLOCK_S * sample_rate_hz)
    count = row.size // size
    if count < 2:
        return None
    window = np.hanning(size)
    scale = 2 / (sample_rate_hz * float((window**2).sum()))
    hz = np.fft.rfftfreq(size, 1 / sample_rate_hz)
    blocks = [row[i * size : (i + 1) * size].astype(np.float64) for i in range(count)]
    spectra = [np.abs(np.fft.rfft((block - block.mean()) * window)) ** 2 * scale for block in blocks]
    mean = np.mean(spectra, axis=0)
    lines = _hum_lines(np.concatenate(blocks), sample_rate_hz)
    covered = np.zeros(hz.size, bool)
    for line_hz in lines.all_hz:
        covered |= np.abs(hz - line_hz) <= 2.5
    clear = mean.copy()
    if covered.any():
        clear[covered] = np.interp(hz[covered], hz[~covered], mean[~covered])
    highest_hz = min(BAND_HZ[1], sample_rate_hz / 2)
    inside = (hz >= BAND_HZ[0]) & (hz <= highest_hz)
    weights = a_weighting(hz[inside]) ** 2
    bin_hz = hz[1]
    flat, weighted = [], []
    for spectrum in spectra:
        spectrum[covered] = clear[covered]
        flat.append(float(spectrum[inside].sum() * bin_hz))
        weighted.append(float((spectrum[inside] * weights).sum() * bin_hz))
    return Noise(
        flat=np.array(flat),
        weighted=np.array(weighted),
        density=np.asarray(clear, np.float64),
        hz=np.asarray(hz, np.float64),
        hum=lines.power,
        hum_error=lines.error,
        hum_limit=lines.limit,
        mains_hz=lines.mains_hz,
        highest_hz=highest_hz,
    )


@dataclass(frozen=True, slots=True)
class _Lines:
    all_hz: tuple[float, ...]
    power: float
    error: float
    limit: float
    mains_hz: float | None


def _hum_lines(row: NDArray[np.float64], sample_rate_hz: int) -> _Lines:
    """Lines at multiples of the mains frequency that stand out of the noise beside them."""
    every = max(1, sample_rate_hz // 2000)
    size = row.size // every * every
    slow = row[:size].reshape(-1, every).mean(axis=1)
    rate = sample_rate_hz / every
    window = np.hanning(slow.size)
    spectrum = np.abs(np.fft.rfft((slow - slow.mean()) * window)) ** 2 * 2 / float(window.sum()) ** 2
    hz = np.fft.rfftfreq(slow.size, 1 / rate)
    bandwidth = float((window**2).sum() / window.sum() ** 2 * slow.size)
    best = _Lines((), 0.0, 0.0, 0.0, None)
    limits = []
    for mains_hz in MAINS_HZ:
        found, power, error, limit = [], 0.0, 0.0, 0.0
        for line_hz in mains_hz * np.arange(1, HUM_HARMONICS + 1):
            near = np.abs(hz - line_hz) <= _NEAR_HZ
            beside = (np.abs(hz - line_hz) <= _ABOUT_HZ) & ~near & (hz > 15.0)
            if not near.any() or not beside.any():
                continue
            floor = float(np.mean(spectrum[beside]))
            limit += _STANDS_OUT * floor
            top = float(spectrum[near].max())
            if top > _STANDS_OUT * floor:
                found.append(float(line_hz))
                whole = float(spectrum[near].sum()) / bandwidth
                loss = np.sinc(line_hz / sample_rate_hz * every) ** 2
                power += max(0.0, whole - floor * near.sum() / bandwidth) / loss
                error += _LOBE * 2 * whole * floor / bandwidth
        limits.append(limit)
        if power > best.power and mains_hz in found:
            best = _Lines(tuple(found), power, float(np.sqrt(error)), limit, mains_hz)
    return best if best.mains_hz else _Lines((), 0.0, 0.0, max(limits, default=0.0), None)
