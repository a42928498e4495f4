"""The beat of a clock written as changes of level, stretch by stretch: how clear, how fast, where."""

from __future__ import annotations

import math

import numpy as np
from numba import types
from numpy.typing import NDArray

from .compiled import compiled
from .waveform_integral import integral, integrate

Samples = NDArray[np.float32]
Rows = NDArray[np.float32]

CLARITY, CERTAINTY, BIN, OFFSET, LAG = range(5)
"""What ``beats`` tells of each stretch, row by row."""

_READ = types.Array(types.float32, 1, "C", readonly=True)
_ROWS = types.Array(types.float32, 2, "C")
_SPECTRA = types.Array(types.float32, 3, "C")


@compiled(ahead=(_READ, types.Array(types.int64, 1, "C"), types.float64, types.int64, _ROWS), fastmath=True, brief=True)
def falls(samples: Samples, stretches: NDArray[np.int64], step: float, half: int, out: Rows) -> None:
    """Size of a quarter of the fall of the mean level over ``half`` steps to either side, at every step.

    Args:
        stretches: their numbers; each is as long as ``out`` has steps, and not before the recording.
        step: frames.
        out: shape (stretches, steps).
    """
    steps = out.shape[1]
    sums = np.empty(int((steps + 2 * half) * step) + 4, np.float32)
    edges = np.empty(steps + 2 * half, np.float32)
    scale = np.float32(0.25 / (half * step))
    for row in range(stretches.size):
        start = stretches[row] * steps * step
        begin = int(start)
        integrate(samples, begin, np.int64(1), sums)
        for k in range(edges.size):
            edges[k] = integral(sums, np.float32(start - begin + k * step))
        middles, ends, own = edges[half:], edges[2 * half :], out[row]
        for k in range(steps):
            own[k] = abs(np.float32(2) * middles[k] - edges[k] - ends[k]) * scale


@compiled(
    ahead=(_SPECTRA, _ROWS, types.int64, types.int64, types.float64, types.float64, types.Array(types.float64, 2, "C")),
    brief=True,
)
def beats(
    spectra: Rows, totals: Rows, low: int, high: int, middle: float, clear: float, out: NDArray[np.float64]
) -> None:
    """The strongest beat between two frequencies, once a period and twice together, on the clearest track or on both.

    Args:
        spectra: of the size of the fall, real and imaginary parts in turn, shape (tracks, stretches, values).
        totals: what a beat is measured by, shape (tracks, stretches).
        low, high: first and last bin of the beat once a period.
        middle: turns of a beat in bin 1 from the start of a stretch to its middle.
        clear: strength below which a track does not tell of the lag.
        out: shape (5, stretches): strength of the beat as a share of the sound; the same of that once a period; its
            bin, with fractions; the time from the middle to a certain change, in its periods; by how many of them the
            second track runs later, NaN where one is not clear.
    """
    tracks, bins = spectra.shape[0], high - low + 1
    once, both = np.empty((tracks, bins)), np.empty((tracks, bins))
    sizes, best, phase = np.empty(2 * high + 2), np.empty(bins), np.zeros(2)
    for stretch in range(spectra.shape[1]):
        for track in range(tracks):
            spectrum, per_total = spectra[track, stretch], 1.0 / (totals[track, stretch] + 1e-30)
            for k in range(low, sizes.size):
                # In double precision: of what is very quiet the square would be nothing.
                real, imaginary = np.float64(spectrum[2 * k]), np.float64(spectrum[2 * k + 1])
                sizes[k] = math.sqrt(real * real + imaginary * imaginary) * per_total
            for k in range(bins):
                twice = 2 * (low + k)
                strongest = max(max(sizes[twice - 1], sizes[twice]), sizes[twice + 1])
                once[track, k] = sizes[low + k]
                both[track, k] = math.sqrt(once[track, k] ** 2 + strongest**2)
        for k in range(bins):
            best[k] = both[0, k]
            if tracks == 2:
                together = math.sqrt(0.5 * (both[0, k] ** 2 + both[1, k] ** 2))
                best[k] = max(max(both[0, k], both[1, k]), together)
        peak = 1
        for k in range(2, bins - 1):
            if best[k] > best[peak]:
                peak = k
        bend = best[peak - 1] - 2 * best[peak] + best[peak + 1]
        shift = 0.5 * (best[peak - 1] - best[peak + 1]) / bend if abs(bend) > 1e-9 else 0.0
        turned = 2 * math.pi * middle * (low + peak)
        cosine, sine = math.cos(turned), math.sin(turned)
        for track in range(tracks):
            real, imaginary = spectra[track, stretch, 2 * (low + peak)], spectra[track, stretch, 2 * (low + peak) + 1]
            turn = math.atan2(real * sine + imaginary * cosine, real * cosine - imaginary * sine)
            phase[track] = -turn / (2 * math.pi)
        out[CLARITY, stretch] = best[peak]
        out[CERTAINTY, stretch] = once[0, peak]
        out[BIN, stretch] = low + peak + min(max(shift, -0.5), 0.5)
        out[OFFSET, stretch] = phase[0]
        out[LAG, stretch] = 0.0
        if tracks == 2:
            out[CERTAINTY, stretch] = max(once[0, peak], once[1, peak])
            lag = phase[1] - phase[0]
            lag -= math.floor(lag + 0.5)
            known = both[0, peak] >= clear and both[1, peak] >= clear
            out[LAG, stretch] = lag if known else np.nan
            halfway = 0.5 * lag if known else 0.0
            strong = once[0, peak] * totals[0, stretch] >= once[1, peak] * totals[1, stretch]
            out[OFFSET, stretch] = phase[0] + halfway if strong else phase[1] - halfway
