"""The waveform's integral, laid out for some thousand frames at a time: any mean is a difference of two of its values.

The waveform is read as held samples: sample n stands for the time n to n + 1, in frames.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from .compiled import compiled

Samples = NDArray[np.float32]

LAID_OUT = 2048
"""Values laid out at a time and more: few enough to stay in the nearest cache for both tracks."""

MARGIN = 24
"""Frames laid out beyond what is asked for."""

NOWHERE = 1 << 60
"""Where an integral begins that is not laid out yet."""


@compiled(fastmath={"contract", "nnan", "ninf", "nsz", "arcp"})
def integrate(samples: Samples, first: int, every: int | np.int64, sums: Samples) -> None:
    """Integral of the held samples from frame ``first`` on, ``every`` so many frames, into ``sums``; silence outside.

    Eight frames at a time, so that one addition in eight waits for the last: the compiler must not put them into a row.

    Args:
        first: a multiple of ``every``.
        every: 1 or 4: writing the sums takes longer than adding up.
    """
    low = min(max(-first, 0) // every, sums.size - 1)
    for n in range(low + 1):
        sums[n] = 0.0
    total = np.float32(0.0)
    heard = samples[first + low * every :]
    into = sums[low + 1 :]
    eights = min(heard.size, into.size * every) // 8
    if every == 1:
        for eight in range(eights):
            n = 8 * eight
            two, next_two = heard[n] + heard[n + 1], heard[n + 4] + heard[n + 5]
            four = two + (heard[n + 2] + heard[n + 3])
            half = total + four
            into[n] = total + heard[n]
            into[n + 1] = total + two
            into[n + 2] = total + (two + heard[n + 2])
            into[n + 3] = half
            into[n + 4] = half + heard[n + 4]
            into[n + 5] = half + next_two
            into[n + 6] = half + (next_two + heard[n + 6])
            total += four + (next_two + (heard[n + 6] + heard[n + 7]))
            into[n + 7] = total
    else:
        for eight in range(eights):
            n, m = 8 * eight, 2 * eight
            four = (heard[n] + heard[n + 1]) + (heard[n + 2] + heard[n + 3])
            into[m] = total + four
            total += four + ((heard[n + 4] + heard[n + 5]) + (heard[n + 6] + heard[n + 7]))
            into[m + 1] = total
    for m in range(8 // every * eights, into.size):
        for n in range(every * m, min(every * (m + 1), heard.size)):
            total += heard[n]
        into[m] = total


@compiled(fastmath=True)
def integral(sums: Samples, place: np.float32) -> np.float32:
    """The integral anywhere within ``sums``, a straight line from each to the next."""
    # Unsigned: what might be negative would be looked at from the end.
    before = np.uint32(place)
    here = sums[before]
    return np.float32(here + (place - np.float32(before)) * (sums[before + np.uint32(1)] - here))


@compiled(fastmath=True)
def falling(sums: Samples, place: np.float32, quarter: np.float32, scale: np.float32) -> tuple[float, float, float]:
    """Over half a period before ``place``, over half a period around it and over the one after it, times ``scale``.

    Args:
        place, quarter: where, and a quarter of the period, in steps of ``sums``.
    """
    middle = integral(sums, place)
    before = middle - integral(sums, place - np.float32(2) * quarter)
    inner = integral(sums, place + quarter) - integral(sums, place - quarter)
    after = integral(sums, place + np.float32(2) * quarter) - middle
    return float(before * scale), float(inner * scale), float(after * scale)


@compiled(fastmath=True)
def laid_out(
    left: Samples, right: Samples, low: float, high: float, onward: bool, every: int | np.int64, sums: Samples
) -> int:
    """Lay out ``sums`` so that they hold all from time ``low`` to ``high``, and tell from which frame on.

    Args:
        onward: whether later times are asked for next, or earlier ones.
        every: frames from one of the sums to the next.
        sums: of each track, shape (2, values), for more than ``high - low + MARGIN`` frames.
    """
    begin = int(low) - 2 if onward else int(high) + 12 - sums.shape[1] * every
    begin -= int(begin % every)
    integrate(left, begin, every, sums[0])
    integrate(right, begin, every, sums[1])
    return begin
