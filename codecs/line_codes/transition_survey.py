"""Where a clock written as changes of level can be heard, and how fast it runs there.

The size of the fall of level across a moving point beats with the clock: once a period for the changes that are
certain, twice where the changes between them come too. A stretch of some dozen periods shows the beat of any data
clearly above that of noise.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Times = NDArray[np.float64]

SPEED_LIMIT = 0.13
"""Share by which the clock may run fast or slow."""

STRETCH = 64
"""Periods in a stretch."""

CLEAR = 0.15
"""Least clarity to try: stretches of white noise stay below 0.14, data at Eb/N0 = 6 dB above 0.16 (99.9 % each)."""

CERTAIN = 0.05
"""Least certainty to try: without a beat once a period the changes between look like the certain ones."""

SURE = 0.2
"""Certainty from which on no clearer stretch need be looked for."""

_PHASES = 8
_HALF = _PHASES // 2
_LENGTH = STRETCH * _PHASES
_WINDOW = (np.hanning(_LENGTH + 2)[1:-1] + 0.3).astype(np.float32)
_BINS = 2 * _LENGTH // _PHASES
_LOW = int(_BINS * (1 - SPEED_LIMIT))
_HIGH = int(np.ceil(_BINS * (1 + SPEED_LIMIT)))


@dataclass(frozen=True, slots=True)
class Survey:
    """One entry a stretch, each shape (stretches,), times in frames.

    Attributes:
        stretches: their numbers; those that nothing was heard of are left out.
        clarity: strength of the beat as a share of the sound, 0 to 1.
        certainty: the same of the beat once a period, which tells the certain changes from those between.
        periods: period of the clock.
        starts: a certain change near the middle.
        lags: by how much the second track runs later; NaN where one of them is not clear.
        amplitudes: shape (tracks, stretches), mean fall of level.
    """

    stretches: NDArray[np.int64]
    clarity: Times
    certainty: Times
    periods: Times
    starts: Times
    lags: Times
    amplitudes: Times


def survey(
    rows: list[NDArray[np.float32]], nominal: float, stretches: NDArray[np.int64], audible: float = 0.0
) -> Survey:
    """The ``stretches`` of these numbers of one or two tracks, at ``nominal`` frames a period.

    Args:
        audible: mean fall of level that a stretch must have on some track to be looked at.
    """
    step = nominal / _PHASES
    falls = _falls(rows, step, stretches)
    totals = falls.mean(axis=2)
    loud = totals.max(axis=0) > audible
    if not loud.all():
        stretches, falls, totals = stretches[loud], falls[:, loud], totals[:, loud]
    at = np.arange(stretches.size)
    spectra = np.fft.rfft((falls - totals[..., None]) * _WINDOW, 2 * _LENGTH)
    whole = _WINDOW.sum() * totals[..., None] + np.float32(1e-30)
    once = np.abs(spectra[..., _LOW : _HIGH + 1]) / whole
    twice = np.abs(spectra[..., 2 * _LOW - 1 : 2 * _HIGH + 2]) / whole
    twice = np.maximum(np.maximum(twice[..., :-2:2], twice[..., 2::2]), twice[..., 1::2])
    clear = np.hypot(once, twice)
    best = clear[0]
    if len(rows) == 2:
        best = np.maximum(np.maximum(clear[0], clear[1]), np.hypot(clear[0], clear[1]) / np.sqrt(2))
    peak = 1 + np.argmax(best[:, 1:-1], axis=1)
    clarity = best[at, peak]
    beats = once[:, at, peak]
    bend = best[at, peak - 1] - 2 * clarity + best[at, peak + 1]
    slope = 0.5 * (best[at, peak - 1] - best[at, peak + 1])
    shift = np.clip(np.divide(slope, bend, out=np.zeros(at.size), where=np.abs(bend) > 1e-9), -0.5, 0.5)
    periods = 2 * _LENGTH / (_LOW + peak + shift) * step

    middle = (_LENGTH - 1) / 2
    turned = np.exp(2j * np.pi * (_LOW + peak) / (2 * _LENGTH) * middle)
    offsets = -np.angle(spectra[:, at, _LOW + peak] * turned) / (2 * np.pi) * periods
    offset, lags = offsets[0], np.zeros(at.size)
    if len(rows) == 2:
        lags = offsets[1] - offsets[0]
        lags -= periods * np.round(lags / periods)
        strong = beats[0] * totals[0] >= beats[1] * totals[1]
        lags[clear[:, at, peak].min(axis=0) < CLEAR] = np.nan
        known = np.nan_to_num(lags)
        offset = np.where(strong, offsets[0] + known / 2, offsets[1] - known / 2)
    starts = (stretches * _LENGTH + middle + _HALF) * step + offset
    return Survey(stretches, clarity, beats.max(axis=0), periods, starts, lags, totals)


def _falls(rows: list[NDArray[np.float32]], step: float, stretches: NDArray[np.int64]) -> NDArray[np.float32]:
    """Size of the fall of level over half a period to either side, shape (tracks, stretches, points)."""
    from ...kernels.transition_tracking import even_means

    means = np.empty((len(rows), stretches.size, _LENGTH + 2 * _HALF - 1), np.float32)
    for row, track in zip(rows, means, strict=True):
        for stretch, own in zip(stretches.tolist(), track, strict=True):
            even_means(row, stretch * _LENGTH * step, step, own)
    pairs = means[..., :-1] + means[..., 1:]
    halves = pairs[..., :-2] + pairs[..., 2:]
    return np.asarray(np.abs(halves[..., :-_HALF] - halves[..., _HALF:]) / (2 * _PHASES))
