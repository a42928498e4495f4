"""Tone bursts as sound: cut from one sine that runs through the whole tape, with raised-cosine edges."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from ...contracts.keying import Burst
from ...contracts.signal import Signal

Times = NDArray[np.float64]


def draw(bursts: Iterable[Burst], duration_s: float, rate_hz: int, level_db: float, edge_s: float) -> Signal:
    """The sound of ``bursts``: their times are rounded to frames, and all of one tone are cut from one sine."""
    samples = np.zeros((2, round(duration_s * rate_hz)), np.float32)
    sines: dict[float, _Sine] = {}
    edge = round(edge_s * rate_hz)
    for burst in bursts:
        tone_hz = burst.tone_hz
        if tone_hz not in sines:
            sines[tone_hz] = _Sine(tone_hz / rate_hz, 10 ** (level_db / 20))
        first, last = round(burst.start_s * rate_hz), round(burst.end_s * rate_hz)
        row = samples[burst.track]
        row[first:last] = sines[tone_hz].frames(first, last)
        _key(row[first:last], edge)
    return Signal.owning(samples, rate_hz)


class _Sine:
    """Any stretch of one endless sine, from two short tables and the sum of angles."""

    def __init__(self, cycles_a_frame: float, amplitude: float) -> None:
        self._cycles = cycles_a_frame
        self._amplitude = amplitude
        self._fine = np.empty(0, np.complex64)

    def frames(self, first: int, last: int) -> NDArray[np.float32]:
        count = last - first
        if self._fine.size < count:
            self._fine = np.exp(2j * np.pi * self._cycles * np.arange(count)).astype(np.complex64)
        turn = 2.0 * np.pi * ((self._cycles * first) % 1.0)
        real, imaginary = self._fine[:count].real, self._fine[:count].imag
        rise = np.float32(self._amplitude * np.sin(turn))
        run = np.float32(self._amplitude * np.cos(turn))
        stretch: NDArray[np.float32] = real * rise + imaginary * run
        return stretch


def _key(burst: NDArray[np.float32], edge: int) -> None:
    edge = min(edge, burst.size // 2)
    if edge == 0:
        return
    rise = (0.5 - 0.5 * np.cos(np.pi * (np.arange(edge) + 0.5) / edge)).astype(np.float32)
    burst[:edge] *= rise
    burst[burst.size - edge :] *= rise[::-1]
