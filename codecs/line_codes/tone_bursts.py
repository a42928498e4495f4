"""Tone bursts as sound: cut from one sine that runs through the whole tape, with raised-cosine edges."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from ...contracts.keying import Burst
from ...contracts.signal import Signal

_PHASES = 1 << 30
"""Steps to a cycle in which the phase of a burst is counted: finer than a sample can tell."""

_SHAPES = 256
"""Bursts kept to be copied: those of a tape whose steps are whole cycles repeat; others never do."""


def draw(bursts: Iterable[Burst], duration_s: float, rate_hz: int, level_db: float, edge_s: float) -> Signal:
    """The sound of ``bursts``: their times are rounded to frames, and all of one tone are cut from one sine."""
    plain = [(burst.track, burst.start_s, burst.end_s, burst.tone_hz) for burst in bursts]
    numbers = np.array(plain, np.float64).reshape(-1, 4)
    tracks, spans_s, tones_hz = numbers[:, 0].astype(np.int64), numbers[:, 1:3], numbers[:, 3]
    return draw_spans(tracks, spans_s, tones_hz, duration_s, rate_hz, level_db, edge_s)


def draw_spans(
    tracks: NDArray[np.int64],
    spans_s: NDArray[np.float64],
    tones_hz: NDArray[np.float64],
    duration_s: float,
    rate_hz: int,
    level_db: float,
    edge_s: float,
) -> Signal:
    """The same of plain numbers, in any order.

    Args:
        tracks: of each burst, shape (bursts,).
        spans_s: its start and end, shape (bursts, 2).
        tones_hz: shape (bursts,).
    """
    samples = np.zeros((2, round(duration_s * rate_hz)), np.float32)
    rows = (samples[0], samples[1])
    amplitude = 10 ** (level_db / 20)
    drawn = _Bursts(amplitude, round(edge_s * rate_hz))
    shapes: dict[tuple[float, int, int], NDArray[np.float32]] = {}
    frames = np.rint(spans_s * rate_hz).astype(np.int64)
    cycles = tones_hz / rate_hz
    phases = np.rint((cycles * frames[:, 0]) % 1.0 * _PHASES).astype(np.int64) % _PHASES
    keys = zip(cycles.tolist(), (frames[:, 1] - frames[:, 0]).tolist(), phases.tolist(), strict=True)
    for track, (first, last), key in zip(tracks.tolist(), frames.tolist(), keys, strict=True):
        shape = shapes.get(key)
        if shape is None:
            if len(shapes) == _SHAPES:
                shapes.clear()
            shape = shapes[key] = drawn.shape(*key)
        rows[track][first:last] = shape
    # Sine and cosine of one angle each, rounded: never twice the amplitude.
    return Signal.owning(samples, rate_hz, known_peak=2 * amplitude)


class _Bursts:
    """Any stretch of one endless sine of each tone, from two short tables and the sum of angles, keyed."""

    def __init__(self, amplitude: float, edge: int) -> None:
        self._amplitude = amplitude
        self._edge = edge
        self._fine: dict[tuple[float, bool], NDArray[np.float32]] = {}
        self._rise = _rise(edge)

    def shape(self, cycles: float, count: int, phase: int) -> NDArray[np.float32]:
        """Of ``count`` frames, from ``phase`` on."""
        turn = 2.0 * np.pi * phase / _PHASES
        burst = self._turning(cycles, count, sine=True) * np.float32(self._amplitude * np.cos(turn))
        if phase:  # the line-up tone, longer than all else, starts at 0 and needs no more
            burst += self._turning(cycles, count, sine=False) * np.float32(self._amplitude * np.sin(turn))
        edge = min(self._edge, count // 2)
        rise = self._rise if edge == self._edge else _rise(edge)
        if edge:
            burst[:edge] *= rise
            burst[count - edge :] *= rise[::-1]
        return burst

    def _turning(self, cycles: float, count: int, *, sine: bool) -> NDArray[np.float32]:
        """Sine or cosine of so many frames, shape (count,)."""
        found = self._fine.get((cycles, sine))
        if found is None or found.size < count:
            turns = 2.0 * np.pi * cycles * np.arange(count)
            found = self._fine[cycles, sine] = (np.sin(turns) if sine else np.cos(turns)).astype(np.float32)
        return found[:count]


def _rise(edge: int) -> NDArray[np.float32]:
    if edge == 0:
        return np.zeros(0, np.float32)
    return (0.5 - 0.5 * np.cos(np.pi * (np.arange(edge) + 0.5) / edge)).astype(np.float32)
