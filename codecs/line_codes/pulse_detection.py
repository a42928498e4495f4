"""From the falls of level across the certain changes to log-likelihood ratios.

Around each certain change the waveform is (s, -s) over one period: an antipodal pulse. The mean before it less the
mean after it is the matched filter, and free of any offset. Its amplitude is taken from the neighbours, the noise from
a wider stretch, so that a dropout weighs little and silence nothing. Before that, what the band of the tape has smeared
from pulse to pulse is taken out.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from .equaliser import equalised

Values = NDArray[np.float64]

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

_MOST_SHIFT = 2
"""Cells by which the tracks may run apart: 0.17 ms, 31 arcmin of azimuth, are 1.4 cells at 8,000 bit/s."""


def likelihoods(falls: NDArray[np.float32], memory: int) -> Values:
    """Log-likelihood ratio of a falling change, from half the fall across each, shape (n,).

    About ``2 a y / v`` for a fall ``y`` of amplitude ``a`` in noise of variance ``v``. Exactly 0 where the amplitude is
    below 8 % of the usual, the highest within ``memory`` changes on either side.
    """
    if falls.size == 0:
        return np.zeros(0)
    y = falls.astype(np.float64)
    peak = float(np.abs(y).max())
    if peak == 0.0:
        return np.zeros(y.size)
    y /= peak
    near = _mean_size(np.abs(y), NEAR)
    usual = _highest(near, memory)
    present = near > 0.5 * usual
    scale = np.maximum(near, 1e-3 * usual) + 1e-30
    y = equalised(y / scale, present) * scale
    sizes = np.abs(y)
    around = (running_mean(sizes, NEAR) * (2 * NEAR + 1) - sizes) / (2 * NEAR)
    around = np.maximum(around, 1e-3 * usual) + 1e-30
    wide, local = _noise(y, FAR, present), _noise(y / around, LOCAL, np.ones(y.size, bool)) * around**2
    steady = present & (local < SUSPICIOUS * wide)
    noise = np.where(steady, wide, local)
    power = np.where(steady, _mean_size(y * y, STEADY), _mean_size(y * y, NEAR))
    noise = np.maximum(noise, 1e-4 * power + 1e-30)
    amplitude = np.sqrt(np.maximum(power - noise, 0.0))
    amplitude[near < INAUDIBLE * usual] = 0.0
    return _student(y, amplitude, noise)


def _student(values: Values, amplitude: Values, noise: Values) -> Values:
    """Log-likelihood ratio of ``amplitude`` against its negative in noise whose variance is an estimate."""
    spread = FREEDOM * noise
    off_negative = np.log1p((values + amplitude) ** 2 / spread)
    off_positive = np.log1p((values - amplitude) ** 2 / spread)
    return np.asarray((FREEDOM + 1) / 2 * (off_negative - off_positive))


def _noise(values: Values, reach: int, heard: NDArray[np.bool_]) -> Values:
    """Variance of the noise on values of one size and either sign, from the ``heard`` ones within ``reach``.

    By the second and fourth moments, ``a**4 = (3 m2**2 - m4) / 2`` (common practice for the signal-to-noise ratio of
    two-phase signals), which holds at any ratio because nothing is decided.
    """
    share = _mean_size(heard.astype(np.float64), reach) + 1e-9
    squares = np.where(heard, values * values, 0.0)
    second = _mean_size(squares, reach) / share
    fourth = _mean_size(squares * squares, reach) / share
    return np.asarray(second - np.sqrt(np.maximum((3 * second**2 - fourth) / 2, 0.0)))


def same_sign(ratios: Values) -> Values:
    """Log-likelihood ratio of each value having the sign of the one before it, shape (n - 1,).

    ``log((1 + e^(a+b)) / (e^a + e^b))``, the exact posterior when nothing else ties the signs together.
    """
    a, b = ratios[:-1], ratios[1:]
    return np.asarray(np.logaddexp(0.0, a + b) - np.logaddexp(a, b))


def together(left: Values, right: Values) -> Values:
    """Both tracks' likelihoods, the right ones shifted by whole cells and inverted as it fits the left best."""
    sure = np.tanh(left)
    shifted = np.pad(right, _MOST_SHIFT)
    moved = [shifted[shift : shift + left.size] for shift in range(2 * _MOST_SHIFT + 1)]
    # No product of matrices: its own threads would wait for the trials' threads, and cost more than all the rest.
    fits = [float((sure * np.tanh(ratios)).sum()) for ratios in moved]
    best = int(np.argmax(np.abs(fits)))
    return left + (moved[best] if fits[best] >= 0 else -moved[best])


def running_mean(values: Values, reach: int) -> Values:
    """Mean over ``reach`` neighbours on either side, fewer at the ends."""
    sums = np.concatenate(([0.0], np.cumsum(values)))
    width = 2 * reach + 1
    if values.size < width:
        at = np.arange(values.size)
        low, high = np.maximum(at - reach, 0), np.minimum(at + reach + 1, values.size)
        return np.asarray((sums[high] - sums[low]) / (high - low))
    fewer = np.arange(reach + 1, width)
    means = np.empty(values.size)
    means[:reach] = sums[reach + 1 : width] / fewer
    means[reach : values.size - reach] = (sums[width:] - sums[:-width]) / width
    means[values.size - reach :] = (sums[-1] - sums[values.size - width + 1 : values.size - reach]) / fewer[::-1]
    return means


def _mean_size(sizes: Values, reach: int) -> Values:
    """The same of values that are not below 0; nor is the mean, for all its rounding."""
    return np.maximum(running_mean(sizes, reach), 0.0)


def _highest(values: Values, reach: int) -> Values:
    """Highest of some neighbours, at least ``reach`` on either side."""
    block = max(reach, 1)
    padded = np.pad(values, (0, -values.size % block)).reshape(-1, block).max(axis=1)
    around = np.pad(padded, 1)
    wide = np.maximum(np.maximum(around[:-2], around[1:-1]), around[2:])
    return np.repeat(wide, block)[: values.size]
