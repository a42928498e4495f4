"""Reading a waveform where a clock says: the fall of level across a change, the mean level between two.

The waveform is read as held samples: sample n stands for the time n to n + 1, in frames. All kernels read the
samples where they lie, so that memory stays that of the recording.
"""

from __future__ import annotations

import numpy as np
from numba import types
from numpy.typing import NDArray

from .compiled import compiled
from .waveform_integral import LAID_OUT, NOWHERE, integral, integrate

Samples = NDArray[np.float32]
Times = NDArray[np.float64]

_READ = types.Array(types.float32, 1, "C", readonly=True)
_FLOATS = types.Array(types.float32, 1, "C")
_DOUBLES = types.Array(types.float64, 1, "C")


@compiled(fastmath=True)
def mean_between(samples: Samples, start: float, stop: float) -> float:
    """Mean of the held samples from ``start`` to ``stop`` (frames); outside the recording there is silence."""
    low = max(start, 0.0)
    high = min(stop, float(samples.size))
    if high <= low:
        return 0.0
    first = int(low)
    last = int(high)
    if first == last:
        return float(samples[first]) * (high - low) / (stop - start)
    inside = np.float32(0.0)
    for n in range(first + 1, last):
        inside += samples[n]
    total = float(samples[first]) * (first + 1 - low) + float(inside)
    if last < samples.size:
        total += float(samples[last]) * (high - last)
    return total / (stop - start)


@compiled(ahead=(_READ, _DOUBLES, _FLOATS, types.float64, _FLOATS), fastmath=True)
def changes(samples: Samples, times: Times, lags: Samples, side: float, out: Samples) -> None:
    """Half the fall of the mean level across each of ``times + side lags``, over half the local period on either side.

    Args:
        times: at least two, rising.
    """
    longest, last = 0.0, times.size - 1
    for k in range(last):
        longest = max(longest, times[k + 1] - times[k])
    sums = np.empty(LAID_OUT + int(longest) + 8, np.float32)
    begin = NOWHERE
    for k in range(times.size):
        earlier, later = max(k - 1, 0), min(k + 1, last)
        half = 0.5 * (times[later] - times[earlier]) / (later - earlier)
        time = times[k] + side * lags[k]
        if time - half < begin or time + half >= begin + sums.size - 1:
            begin = int(np.floor(time - half)) - 1
            integrate(samples, begin, np.int64(1), sums)
        at, reach = np.float32(time - begin), np.float32(half)
        around = integral(sums, at - reach) + integral(sums, at + reach)
        out[k] = (integral(sums, at) - np.float32(0.5) * around) / reach


@compiled(fastmath=True)
def means_between(samples: Samples, times: Times, out: Samples) -> None:
    """Mean from each of ``times`` to the next, into ``out``, shape (times - 1,)."""
    for k in range(out.size):
        out[k] = mean_between(samples, times[k], times[k + 1])
