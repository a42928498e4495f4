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
_MIDDLE = (_LENGTH - 1) / 2
_WINDOW = (np.hanning(_LENGTH + 2)[1:-1] + 0.3).astype(np.float32)
_WEIGHT = _WINDOW.sum()
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
    amplitudes: NDArray[np.float32]


def survey(
    rows: list[NDArray[np.float32]], nominal: float, stretches: NDArray[np.int64], audible: float = 0.0
) -> Survey:
    """The ``stretches`` of these numbers of one or two tracks, at ``nominal`` frames a period.

    Args:
        audible: mean fall of level that a stretch must have on some track to be looked at.
    """
    from ...kernels.beat import beats, falls

    step = nominal / _PHASES
    sizes = np.empty((len(rows), stretches.size, _LENGTH), np.float32)
    for row, own in zip(rows, sizes, strict=True):
        falls(row, stretches, step, _HALF, own)
    totals = sizes.mean(axis=2)
    loud = totals.max(axis=0) > audible
    if not loud.all():
        stretches, sizes, totals = stretches[loud], sizes[:, loud], totals[:, loud]
    told = np.empty((5, stretches.size))
    if stretches.size:
        sizes -= totals[..., None]
        sizes *= _WINDOW
        spectra = np.fft.rfft(sizes, 2 * _LENGTH).view(np.float32)
        beats(spectra, totals * _WEIGHT, _LOW, _HIGH, _MIDDLE / (2 * _LENGTH), CLEAR, told)
    clarity, certainty, bins, offsets, lags = told
    periods = 2 * _LENGTH / bins * step
    starts = (stretches * _LENGTH + _MIDDLE + _HALF) * step + offsets * periods
    return Survey(stretches, clarity, certainty, periods, starts, lags * periods, totals)
