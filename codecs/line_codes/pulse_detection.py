"""From the falls of level across the certain changes to log-likelihood ratios.

Around each certain change the waveform is (s, -s) over one period: an antipodal pulse. The mean before it less the
mean after it is the matched filter, and free of any offset. Its amplitude is taken from the neighbours, the noise from
a wider stretch, so that a dropout weighs little and silence nothing. Before that, what the band of the tape has smeared
from pulse to pulse is taken out.
"""

from __future__ import annotations

from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from .equaliser import equalised

Soft = NDArray[np.float32]
Kind = TypeVar("Kind", bound=np.floating[Any])

NEAR = 4
"""Neighbours on either side that share an amplitude in a fade: a dropout of 5 ms is 6 cells at 1,200 bit/s."""

LOCAL = 12
"""Neighbours on either side from which a fade learns its noise."""

STEADY = 36
"""Neighbours on either side that share an amplitude while it is steady."""

FAR = 96
"""Neighbours on either side that share a noise while the amplitude is steady: enough to know it within 10 %."""

SUSPICIOUS = 4.0
"""A place whose own noise is so many times that of its wider surroundings is no steady one."""

FREEDOM = 200.0
"""Degrees of freedom of the noise: as many values tell of it, which makes it Student's."""

INAUDIBLE = 0.08
"""Share of the usual amplitude below which nothing counts as heard (22 dB down)."""

_TINY = np.float32(1e-30)
"""Added to what is divided by."""

_MOST_SHIFT = 2
"""Cells by which the tracks may run apart: 0.17 ms, 31 arcmin of azimuth, are 1.4 cells at 8,000 bit/s."""


def likelihoods(falls: NDArray[np.float32], memory: int) -> Soft:
    """Log-likelihood ratio of a falling change, from half the fall across each, shape (n,).

    About ``2 a y / v`` for a fall ``y`` of amplitude ``a`` in noise of variance ``v``. Exactly 0 where the amplitude is
    below 8 % of the usual, the highest within ``memory`` changes on either side.
    """
    if falls.size == 0:
        return np.zeros(0, np.float32)
    peak = float(np.abs(falls).max())
    if peak == 0.0:
        return np.zeros(falls.size, np.float32)
    y = (falls / np.float32(peak)).astype(np.float32, copy=False)
    near = running_mean(np.abs(y), NEAR)
    usual = _highest(near, memory)
    present = near > 0.5 * usual
    unheard = near < INAUDIBLE * usual
    usual *= np.float32(1e-3)
    faint = np.add(usual, _TINY, out=usual)
    scale = np.maximum(near, faint, out=near)
    y /= scale
    y = equalised(y, present)
    y *= scale
    sizes, squares = np.abs(y), y * y
    around = running_mean(sizes, NEAR)
    around *= (2 * NEAR + 1) / (2 * NEAR)
    sizes *= 1 / (2 * NEAR)
    around -= sizes
    around = np.maximum(around, faint, out=around)
    relative = y / around
    relative *= relative
    wide, local = _noise(squares, FAR, present), _noise(relative, LOCAL)
    local *= around
    local *= around
    steady = local < SUSPICIOUS * wide
    steady &= present
    noise, power = wide, running_mean(squares, STEADY)
    if not steady.all():
        noise = np.where(steady, wide, local)
        power = np.where(steady, power, running_mean(squares, NEAR))
    noise = np.maximum(noise, _TINY + np.float32(1e-4) * power)
    power -= noise
    amplitude = np.sqrt(np.maximum(power, 0.0, out=power), out=power)
    amplitude[unheard] = 0.0
    return _student(y, amplitude, noise)


def _student(values: Soft, amplitude: Soft, noise: Soft) -> Soft:
    """Log-likelihood ratio of ``amplitude`` against its negative in noise whose variance is an estimate."""
    spread = FREEDOM * noise
    off_negative = spread + (values + amplitude) ** 2
    off_positive = spread + (values - amplitude) ** 2
    return np.asarray((FREEDOM + 1) / 2 * np.log(off_negative / off_positive))


def _noise(squares: Soft, reach: int, heard: NDArray[np.bool_] | None = None) -> Soft:
    """Variance of the noise on values of one size and either sign, from the ``heard`` ones within ``reach``.

    By the second and fourth moments, ``a**4 = (3 m2**2 - m4) / 2`` (common practice for the signal-to-noise ratio of
    two-phase signals), which holds at any ratio because nothing is decided.
    """
    share = None
    if heard is not None and not heard.all():
        squares = squares * heard
        share = running_mean(heard.astype(np.float32), reach) + np.float32(1e-9)
    second, fourth = running_mean(squares, reach), running_mean(squares * squares, reach)
    if share is not None:
        second, fourth = second / share, fourth / share
    return np.asarray(second - np.sqrt(np.maximum((3 * second**2 - fourth) / 2, 0.0)))


def same_sign(ratios: Soft) -> Soft:
    """Log-likelihood ratio of each value having the sign of the one before it, shape (n - 1,).

    ``log((1 + e^(a+b)) / (e^a + e^b))``, the exact posterior when nothing else ties the signs together; written so that
    no exponential can be too large: the smaller size with the product's sign, and what chance rounds off it.
    """
    a, b = ratios[:-1], ratios[1:]
    total, apart = np.abs(a + b), np.abs(a - b)
    return np.asarray(0.5 * (total - apart) + np.log((1 + np.exp(-total)) / (1 + np.exp(-apart))))


def together(left: Soft, right: Soft) -> Soft:
    """Both tracks' likelihoods, the right ones shifted by whole cells and inverted as it fits the left best."""
    shifted = np.pad(right, _MOST_SHIFT)
    sure, other = np.tanh(left), np.tanh(shifted)
    places = [slice(shift, shift + left.size) for shift in range(2 * _MOST_SHIFT + 1)]
    # No product of matrices: its own threads would wait for the trials' threads, and cost more than all the rest.
    fits = [float((sure * other[place]).sum()) for place in places]
    best = int(np.argmax(np.abs(fits)))
    moved = shifted[places[best]]
    return left + (moved if fits[best] >= 0 else -moved)


def running_mean(values: NDArray[Kind], reach: int) -> NDArray[Kind]:
    """Mean over ``reach`` neighbours on either side, fewer at the ends.

    Summed by doubling, which rounds no more the longer the row is, and leaves nothing of large values on small ones.
    """
    size, width = values.size, 2 * reach + 1
    run = np.zeros(size + 2 * reach, values.dtype)
    run[reach : size + reach] = values
    sums, begin, length = run[:size].copy(), 1, 1
    while 2 * length <= width:
        run = run[:-length] + run[length:]
        length *= 2
        if width & length:
            sums += run[begin : begin + size]
            begin += length
    means = sums
    means *= values.dtype.type(1 / width)
    if size < width:
        at = np.arange(size)
        means *= width / (np.minimum(at + reach + 1, size) - np.maximum(at - reach, 0))
        return means
    more = width / np.arange(reach + 1, width)
    means[:reach] *= more
    means[size - reach :] *= more[::-1]
    return means


def _highest(values: Soft, reach: int) -> Soft:
    """Highest of some neighbours, at least ``reach`` on either side."""
    block = max(reach, 1)
    padded = np.pad(values, (0, -values.size % block)).reshape(-1, block).max(axis=1)
    around = np.pad(padded, 1)
    wide = np.maximum(np.maximum(around[:-2], around[1:-1]), around[2:])
    return np.repeat(wide, block)[: values.size]
