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
from .scratch import scratch

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

REACHES = np.array([NEAR, LOCAL, STEADY, FAR])

PRESENT = 0.5
"""Share of the usual amplitude above which a place tells of the noise and of the smear."""

INAUDIBLE = 0.08
"""Share of the usual amplitude below which nothing counts as heard (22 dB down)."""

_FITTED = 8192

_MOST_SHIFT = 2
"""Cells by which the tracks may run apart: 0.17 ms, 31 arcmin of azimuth, are 1.4 cells at 8,000 bit/s."""


def likelihoods(falls: NDArray[np.float32], memory: int) -> Soft:
    """Log-likelihood ratio of a falling change, from half the fall across each, shape (n,).

    About ``2 a y / v`` for a fall ``y`` of amplitude ``a`` in noise of variance ``v``, which is an estimate, so that
    the law is Student's. Exactly 0 where the amplitude is below 8 % of the usual, the highest within ``memory`` changes
    on either side.
    """
    from ...kernels.pulse_statistics import levelled, odds

    if falls.size == 0:
        return np.zeros(0, np.float32)
    told = np.empty(falls.size, np.float32)
    with scratch(*[falls.size] * 4) as (values, scales, usual, least):
        levelled(falls, NEAR, max(memory, 1), values, scales, usual)
        np.multiply(usual, np.float32(PRESENT), out=least)
        equalised(values, scales > least, out=values)
        odds(values, scales, usual, REACHES, PRESENT, INAUDIBLE, SUSPICIOUS, FREEDOM, told)
    np.log(told, out=told)
    told *= np.float32((FREEDOM + 1) / 2)
    return told


def same_sign(ratios: Soft) -> Soft:
    """Log-likelihood ratio of each value having the sign of the one before it, shape (n - 1,).

    ``log((1 + e^(a+b)) / (e^a + e^b))``, the exact posterior when nothing else ties the signs together; written so that
    no exponential can be too large: the smaller size with the product's sign, and what chance rounds off it.
    """
    a, b = ratios[:-1], ratios[1:]
    total, apart = np.abs(a + b), np.abs(a - b)
    told = total - apart
    told *= 0.5
    for sizes in (total, apart):
        np.exp(np.negative(sizes, out=sizes), out=sizes)
        sizes += 1
    total /= apart
    told += np.log(total, out=total)
    return np.asarray(told)


def together(left: Soft, right: Soft) -> Soft:
    """Both tracks' likelihoods, the right ones shifted by whole cells and inverted as it fits the left best."""
    shifted = np.pad(right, _MOST_SHIFT)
    # Some thousand changes, evenly spread, say it as well as all.
    every = 1 + left.size // _FITTED
    sure = np.tanh(left[::every])
    heard = np.tanh(shifted) if every == 1 else None
    fits = []
    for shift in range(2 * _MOST_SHIFT + 1):
        place = slice(shift, shift + left.size, every)
        # No product of matrices: its own threads would wait for the trials' threads, and cost more than all the rest.
        fits.append(float((sure * (np.tanh(shifted[place]) if heard is None else heard[place])).sum()))
    best = int(np.argmax(np.abs(fits)))
    moved = shifted[best : best + left.size]
    return left + moved if fits[best] >= 0 else left - moved


def running_mean(values: NDArray[Kind], reach: int) -> NDArray[Kind]:
    """Mean over ``reach`` neighbours on either side, fewer at the ends."""
    from ...kernels.pulse_statistics import window_sums

    at, padded = np.arange(values.size), np.pad(values, reach)
    means = np.empty_like(values)
    window_sums(padded, 2 * reach + 1, np.empty_like(padded), means)
    means /= np.minimum(at + reach + 1, values.size) - np.maximum(at - reach, 0)
    return means
