"""The waveform's integral, laid out for some thousand frames at a time: any mean is a difference of two of its values.

The waveform is read as held samples: sample n stands for the time n to n + 1, in frames.
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

Samples = NDArray[np.float32]

LAID_OUT = 2048
"""Values laid out at a time and more: few enough to stay in the nearest cache for both tracks."""

COARSE = 24.0
"""Frames a period from which on every other frame will do to follow a clock: noise then moves it by 0.4 % more."""

NOWHERE = 1 << 60
"""Where an integral begins that is not laid out yet."""


@njit(fastmath={"contract", "nnan", "ninf", "nsz", "arcp"}, error_model="numpy", nogil=True, cache=True)
def integrate(samples: Samples, first: int, grain: int, sums: Samples) -> None:
    """Integral of the held samples from frame ``first`` on, at every frame or every other, into ``sums``.

    Outside the samples there is silence. Four frames at a time, so that one addition in four waits for the last: the
    compiler must not put them into a row.

    Args:
        grain: frames from one of ``sums`` to the next, 1 or 2.
    """
    low = min(max(-first + grain - 1, 0) // grain, sums.size - 1)
    high = min(max(samples.size - first, grain * low) // grain, sums.size - 1)
    total = np.float32(0.0)
    if low > 0 and -first < grain * low and samples.size > 0:
        total += samples[0]
    for n in range(low):
        sums[n] = 0.0
    sums[low] = total
    heard = samples[first + grain * low : first + grain * high]
    into = sums[low + 1 : high + 1]
    fours = heard.size // 4
    for four in range(fours):
        n = 4 * four
        two, more = heard[n] + heard[n + 1], heard[n + 2] + heard[n + 3]
        if grain == 1:
            into[n] = total + heard[n]
            into[n + 1] = total + two
            into[n + 2] = total + (two + heard[n + 2])
            into[n + 3] = total + (two + more)
        else:
            into[2 * four] = total + two
            into[2 * four + 1] = total + (two + more)
        total += two + more
    for n in range(4 * fours, heard.size, grain):
        total += heard[n] if grain == 1 else heard[n] + heard[n + 1]
        into[n // grain] = total
    rest = first + grain * high
    if high < sums.size - 1 and 0 <= rest < samples.size:
        total += samples[rest]
    for n in range(high + 1, sums.size):
        sums[n] = total


@njit(fastmath=True, error_model="numpy", nogil=True, cache=True)
def integral(sums: Samples, place: np.float32) -> np.float32:
    """The integral anywhere within ``sums``, a straight line from each to the next."""
    # Unsigned: what might be negative would be looked at from the end.
    before = np.uint32(place)
    here = sums[before]
    return np.float32(here + (place - np.float32(before)) * (sums[before + np.uint32(1)] - here))


@njit(fastmath=True, error_model="numpy", nogil=True, cache=True)
def falling(sums: Samples, place: np.float32, quarter: np.float32, scale: np.float32) -> tuple[float, float, float]:
    """Over half a period before ``place``, over half a period around it and over the one after it, times ``scale``.

    Args:
        place, quarter: where, and a quarter of the period, in steps of the integral.
    """
    middle = integral(sums, place)
    before = middle - integral(sums, place - np.float32(2) * quarter)
    inner = integral(sums, place + quarter) - integral(sums, place - quarter)
    after = integral(sums, place + np.float32(2) * quarter) - middle
    return float(before * scale), float(inner * scale), float(after * scale)


@njit(fastmath=True, error_model="numpy", nogil=True, cache=True)
def laid_out(left: Samples, right: Samples, time: float, reach: float, onward: bool, grain: int, sums: Samples) -> int:
    """Lay out ``sums`` so that they hold all within ``reach`` of ``time``, and tell from which frame on.

    Args:
        onward: whether later times are asked for next, or earlier ones.
        sums: of each track, shape (2, values); more than ``2 reach / grain + 8`` of them.
    """
    begin = int(np.floor(time - reach)) - 1
    if not onward:
        begin = int(np.ceil(time + reach)) + 3 - grain * (sums.shape[1] - 1)
    integrate(left, begin, grain, sums[0])
    integrate(right, begin, grain, sums[1])
    return begin
