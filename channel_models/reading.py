"""Probes and readings with which the models show that their strength is what was asked.

Every reading skips the first and last tenth of a second, where filters settle and the tape ends.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ..contracts.signal import Signal

RATE_HZ = 44_100
EDGE_S = 0.1


def silence(duration_s: float) -> Signal:
    """Nothing recorded."""
    return Signal(np.zeros((2, round(duration_s * RATE_HZ)), np.float32), RATE_HZ)


def tone(frequency_hz: float, duration_s: float, left: float = 0.5, right: float = 0.5) -> Signal:
    """A sine on both tracks with the given peaks."""
    turns = frequency_hz / RATE_HZ * np.arange(round(duration_s * RATE_HZ))
    wave = np.sin(2 * np.pi * turns).astype(np.float32)
    return Signal(np.stack((np.float32(left) * wave, np.float32(right) * wave)), RATE_HZ)


def inner(signal: Signal) -> NDArray[np.float64]:
    """The samples without the edges, shape (2, frames)."""
    edge = round(EDGE_S * signal.sample_rate_hz)
    return signal.samples[:, edge : signal.frames - edge].astype(np.float64)


def phasor(row: NDArray[np.float64], frequency_hz: float, sample_rate_hz: int) -> complex:
    """Complex amplitude of the sine of that frequency, sin() real: least squares with a Hann window."""
    turns = frequency_hz / sample_rate_hz * np.arange(row.size)
    window = np.hanning(row.size)
    return complex(2j * (row * window * np.exp(-2j * np.pi * turns)).sum() / window.sum())


def band_level_db(signal: Signal) -> float:
    """Mean power of both tracks from 20 Hz to 20 kHz re a sine of peak 1.0."""
    rows = inner(signal)
    spectrum = np.abs(np.fft.rfft(rows)) ** 2
    hz = np.fft.rfftfreq(rows.shape[1], 1 / signal.sample_rate_hz)
    power = 2 * spectrum[:, (hz >= 20) & (hz <= 20_000)].sum() / rows.shape[1] ** 2 / 2
    return float(10 * np.log10(power / 0.5))


def frequency_hz(row: NDArray[np.float64], near_hz: float, sample_rate_hz: int) -> NDArray[np.float64]:
    """Instantaneous frequency of a tone near ``near_hz``, once a millisecond, within 100 Hz about it."""
    step = sample_rate_hz // 1000
    turns = near_hz / sample_rate_hz * np.arange(row.size)
    down = row * np.exp(-2j * np.pi * turns)
    window = np.hanning(8 * step + 1)
    smooth = np.convolve(down, window / window.sum(), mode="valid")[::step]
    phase = np.unwrap(np.angle(smooth))
    return near_hz + np.diff(phase) / (2 * np.pi) * sample_rate_hz / step
