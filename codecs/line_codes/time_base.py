"""Time-base correction: a steady tone beside the data tells how the tape moved, and the drift is taken out.

The line code counts on a grid of places, so many a second of tape; its tone has a whole number of cycles in a known
number of places. First the tone is looked for at speeds of up to ``MOST_SPEED`` off, frame by frame; the tape is read
at that speed; then the tone's turning is followed, wide and then narrow (a narrow filter alone loses a tone that
flutters), and the tape is read again. What counts is the turning from one hop to the next, summed over both tracks,
so that a track that is weak weighs little; where neither is heard, the speed is held.

The tracks are straightened together: what the tape does to both. A skew between them is left to the line code.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...contracts.signal import Signal

MOST_SPEED = 0.07
_FRAME_S = 0.093
_PROMINENT = 4.0
"""Power of a tone re the median beside it: of noise, the best of some 90 places has 2.7."""
_FEWEST_FRAMES = 4
_WANDER = 0.025
"""How far the speed strays from its median within one tape."""
_MEDIAN_FRAMES, _MEAN_FRAMES = 9, 5
"""A frame that mistakes noise for the tone must not bend the course: where nothing is heard, nothing mends it."""
_CHANGE = 0.01
"""How far two neighbouring frames' speeds lie apart."""
_HOP = 64
_WIDE, _WIDE_HOPS = 256, 9
_NARROW, _NARROW_HOPS = 512, 5
_HELD_SHARE = 0.01
_FADED = 0.3
"""Power of the tone, re the usual, below which it counts less and less: soon it is noise that turns."""
_HELD_HOPS = 257
_KNOT = 64
_AT_ONCE = 4096


@dataclass(frozen=True, slots=True, eq=False)
class Course:
    """How the tape moved: at which frame of the capture which place of the grid was heard.

    Attributes:
        frames: of the capture, increasing, shape (points,).
        places: of the grid, increasing, shape (points,).
    """

    frames: NDArray[np.float64]
    places: NDArray[np.float64]

    def frame_at(self, places: NDArray[np.float64]) -> NDArray[np.float64]:
        """Where on the capture these places lie; beyond the ends at the speed there."""
        return _along(places, self.places, self.frames)

    def place_at(self, frames: NDArray[np.float64]) -> NDArray[np.float64]:
        """Which places these frames of the capture hold."""
        return _along(frames, self.frames, self.places)


def _along(x: NDArray[np.float64], known: NDArray[np.float64], values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Linear interpolation, beyond the ends with the slope of the first and last sixteenth."""
    inside = np.interp(x, known, values)
    reach = max(1, known.size // 16)
    first = (values[reach] - values[0]) / (known[reach] - known[0])
    last = (values[-1] - values[-1 - reach]) / (known[-1] - known[-1 - reach])
    return np.asarray(inside + np.minimum(x - known[0], 0) * first + np.maximum(x - known[-1], 0) * last)


@dataclass(frozen=True, slots=True, eq=False)
class Straightened:
    """A capture read on the grid.

    Attributes:
        samples: float32, shape (2, places).
        course: how to get back to the capture's frames.
    """

    samples: NDArray[np.float32]
    course: Course


def straightened(signal: Signal, tone_cycles: float, grid_hz: float) -> Straightened | None:
    """``signal`` on a grid of ``grid_hz`` places a second of tape; None if no tone is heard.

    Args:
        tone_cycles: cycles of the tone a place, below 0.5.
    """
    course = _found(signal, tone_cycles * grid_hz, grid_hz)
    if course is None:
        return None
    for window, hops in ((_WIDE, _WIDE_HOPS), (_NARROW, _NARROW_HOPS)):
        course = _followed(_read(signal, course), course, tone_cycles, window, hops)
    return Straightened(_read(signal, course), course)


def _found(signal: Signal, tone_hz: float, grid_hz: float) -> Course | None:
    """The course by the tone's frequency in each frame."""
    rate = signal.sample_rate_hz
    size = 1 << round(np.log2(_FRAME_S * rate))
    hop = size // 2
    frames = 1 + (signal.frames - size) // hop
    resolution = rate / size
    first = int(tone_hz * (1 - MOST_SPEED) / resolution)
    last = int(tone_hz * (1 + MOST_SPEED) / resolution) + 1
    if frames < _FEWEST_FRAMES or last >= size // 2:
        return None
    window = np.hanning(size).astype(np.float32)
    heard_hz, strength = np.empty(frames), np.empty(frames)
    for begin in range(0, frames, 64):
        count = min(64, frames - begin)
        cut = np.lib.stride_tricks.sliding_window_view(signal.samples[:, begin * hop :], size, axis=1)[:, ::hop][
            :, :count
        ]
        power = (np.abs(np.fft.rfft(cut * window, axis=-1)[..., first:last]) ** 2).sum(axis=0)
        around = np.apply_along_axis(np.convolve, 1, power, np.ones(5), "same")
        best = around[:, 3:-3].argmax(axis=1) + 3
        near = best[:, None] + np.arange(-3, 4)
        weights = np.take_along_axis(power, near, 1) + 1e-30
        heard_hz[begin : begin + count] = (first + (weights * near).sum(axis=1) / weights.sum(axis=1)) * resolution
        middle = np.median(around, axis=1)
        strength[begin : begin + count] = around[np.arange(count), best] / np.maximum(middle, 1e-30)
    speed = heard_hz / tone_hz
    told = _supported(strength > _PROMINENT, speed)
    if told.sum() < _FEWEST_FRAMES:
        return None
    told &= np.abs(speed - np.median(speed[told])) < _WANDER
    if told.sum() < _FEWEST_FRAMES:
        return None
    middles = (np.arange(frames) + 1.0) * hop
    smooth = np.interp(middles, middles[told], _running_median(speed[told], _MEDIAN_FRAMES))
    padded = np.pad(smooth, _MEAN_FRAMES // 2, mode="edge")
    smooth = np.convolve(padded, np.ones(_MEAN_FRAMES) / _MEAN_FRAMES, "valid")
    points = np.arange(0, signal.frames + hop, hop / 8)
    rates = np.interp(points, middles, smooth) * (grid_hz / rate)
    places = np.concatenate(([0.0], np.cumsum((rates[1:] + rates[:-1]) / 2 * np.diff(points))))
    return Course(points, places)


def _supported(told: NDArray[np.bool_], speed: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Which of the frames with a prominent tone have one beside them that is told the same speed.

    Noise makes a prominent tone in one frame of fifty, and a pair of them once in five minutes or less.
    """
    pairs = told[1:] & told[:-1] & (np.abs(np.diff(speed)) < _CHANGE)
    supported = np.zeros_like(told)
    supported[1:] |= pairs
    supported[:-1] |= pairs
    return supported


def _running_median(values: NDArray[np.float64], size: int) -> NDArray[np.float64]:
    padded = np.pad(values, size // 2, mode="edge")
    return np.asarray(np.median(np.lib.stride_tricks.sliding_window_view(padded, size), axis=1))


def _read(signal: Signal, course: Course) -> NDArray[np.float32]:
    """The capture at each place of the grid."""
    from ...kernels.warp import BLOCK_FRAMES, warp, weights

    places = max(0, int(course.place_at(np.array([signal.frames], np.float64))[0]))
    knots = -(-places // BLOCK_FRAMES) * (BLOCK_FRAMES // _KNOT) + 1
    positions = course.frame_at(np.arange(knots + 1, dtype=np.float64) * _KNOT)
    slopes = np.gradient(positions) / _KNOT
    out = np.empty((2, places), np.float32)
    left, right = signal.samples
    warp(left, right, out[0], out[1], positions[:-1], slopes[:-1], _KNOT, weights())
    return out


def _followed(samples: NDArray[np.float32], course: Course, tone_cycles: float, window: int, hops: int) -> Course:
    """``course`` corrected by what the tone still turns in ``samples``."""
    tone = _tone(samples, tone_cycles, window)
    if tone.shape[1] < 2:
        return course
    turning = (tone[:, 1:] * tone[:, :-1].conj()).sum(axis=0)
    power = np.abs(turning)
    usual = max(float(np.median(power)), 1e-30)
    held = _smooth(turning, _HELD_HOPS)
    held *= _HELD_SHARE * usual / np.maximum(np.abs(held), 1e-30)
    turning *= np.clip(power / (_FADED * usual), 0, 1)
    angles = np.angle(_smooth(turning, hops) + held)
    late = np.concatenate(([0.0], np.cumsum(angles))) / (2 * np.pi * tone_cycles)
    middles = np.arange(tone.shape[1], dtype=np.float64) * _HOP + window / 2
    places = middles + late
    return Course(course.frame_at(middles), places)


def _tone(samples: NDArray[np.float32], tone_cycles: float, window: int) -> NDArray[np.complex64]:
    """The tone of each track every hop, shape (2, hops): its phase is that of the grid's own tone in place 0."""
    hops = max(0, 1 + (samples.shape[1] - window) // _HOP)
    heard = np.empty((2, hops), np.complex64)
    wave = np.hanning(window + 2)[1:-1] * np.exp(-2j * np.pi * tone_cycles * np.arange(window))
    wave = wave.astype(np.complex64)
    for begin in range(0, hops, _AT_ONCE):
        count = min(_AT_ONCE, hops - begin)
        cycles = np.modf(tone_cycles * _HOP * np.arange(begin, begin + count))[0]
        turn = np.exp(-2j * np.pi * cycles)
        for row in range(2):
            cut = np.lib.stride_tricks.sliding_window_view(samples[row, begin * _HOP :], window)[::_HOP][:count]
            real, imaginary = (np.einsum("hw,w->h", cut, part) for part in (wave.real, wave.imag))
            heard[row, begin : begin + count] = (real + 1j * imaginary) * turn
    return heard


def _smooth(values: NDArray[np.complex64], hops: int) -> NDArray[np.complex128]:
    """A mean over ``hops`` with a raised-cosine weight."""
    if hops > values.size:
        hops = max(1, values.size - 1 + values.size % 2)
    weight = np.hanning(hops + 2)[1:-1]
    return np.convolve(values, weight / weight.sum(), "same")
