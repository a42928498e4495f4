"""What a capture without the test recording has to offer: its quietest stretch, its longest steady tone."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..contracts.signal import Signal

LEAST_TONE_S = 20.0
"""What the flutter meter needs to settle and to read two blocks."""

_FRAME_S = 0.1
_DOMINANT = 0.5
_SAME = 0.02
_BRIDGE = 5
_QUIET_S = 3.0
_QUIETER = 0.05
_EVEN = 4.0
_LOWEST_HZ = 600.0


@dataclass(frozen=True, slots=True)
class SteadyTone:
    """A tone that lasts.

    Attributes:
        hz: its frequency.
        start, stop: frames.
        tracks: the tracks that carry it.
    """

    hz: float
    start: int
    stop: int
    tracks: tuple[int, ...]


def quietest(signal: Signal) -> tuple[int, int] | None:
    """The three seconds of least power that hold no digital silence; None if there are none."""
    size = round(_FRAME_S * signal.sample_rate_hz)
    count = signal.frames // size
    need = round(_QUIET_S / _FRAME_S)
    if count < need:
        return None
    power = np.zeros(count)
    dead = np.zeros(count, bool)
    for row in signal.samples:
        each = np.array([float(np.var(row[i * size : (i + 1) * size], dtype=np.float64)) for i in range(count)])
        power += each
        dead |= each < 1e-14
    sums = np.convolve(power, np.ones(need), "valid")
    sums[np.convolve(dead, np.ones(need), "valid") > 0] = np.inf
    first = int(sums.argmin())
    if not np.isfinite(sums[first]):
        return None
    quiet = power[first : first + need]
    if quiet.max() > _EVEN * quiet.min() or sums[first] / need > _QUIETER * float(np.quantile(power, 0.9)):
        return None
    return first * size, (first + need) * size


def steady_tone(signal: Signal) -> SteadyTone | None:
    """The longest stretch of one tone, at least 20 s; None if there is none."""
    best: SteadyTone | None = None
    for track, row in enumerate(signal.samples):
        found = _longest(row, signal.sample_rate_hz, track)
        if found is None:
            continue
        if best is None or found.stop - found.start > 1.1 * (best.stop - best.start):
            best = found
        elif abs(found.hz - best.hz) < _SAME * best.hz:
            start, stop = max(best.start, found.start), min(best.stop, found.stop)
            if stop - start > 0.9 * (best.stop - best.start):
                best = SteadyTone(best.hz, start, stop, (0, 1))
    return best


def _longest(row: NDArray[np.float32], sample_rate_hz: int, track: int) -> SteadyTone | None:
    size = round(_FRAME_S * sample_rate_hz)
    count = row.size // size
    window = np.hanning(size)
    hz = np.zeros(count)
    for i in range(count):
        power = np.abs(np.fft.rfft(row[i * size : (i + 1) * size] * window)) ** 2
        top = int(power[1:].argmax()) + 1
        own = float(power[max(1, top - 2) : top + 3].sum())
        if own > _DOMINANT * float(power[1:].sum()) and own > 1e-12:
            hz[i] = top * sample_rate_hz / size
    longest: tuple[int, int, float] | None = None
    first = 0
    while first < count:
        if hz[first] < _LOWEST_HZ:
            first += 1
            continue
        last, missed, at = first, 0, first
        while at + 1 < count and missed <= _BRIDGE:
            at += 1
            if abs(hz[at] - hz[first]) <= max(_SAME * hz[first], 10.0):
                last, missed = at, 0
            else:
                missed += 1
        if longest is None or last - first > longest[1] - longest[0]:
            longest = (first, last, float(np.median(hz[first : last + 1][hz[first : last + 1] > 0])))
        first = last + 1
    if longest is None or (longest[1] - longest[0] - 1) * _FRAME_S < LEAST_TONE_S:
        return None
    return SteadyTone(longest[2], (longest[0] + 1) * size, longest[1] * size, (track,))
