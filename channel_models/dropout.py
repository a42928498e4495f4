"""One dropout: where it is on the tape, and what it does to the sound."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from .tape_loss import grid_hz, side_frames, spacing_factor, symmetric_taps

EDGE_SHARE = 0.25
"""Each raised-cosine edge lasts this share of the length between the half-depth points."""

_STEP_FRAMES = 8
_FILTERS = 129


@dataclass(frozen=True, slots=True)
class Dropout:
    """One dropout.

    Attributes:
        start_s: when half the depth is reached, in seconds from the first frame; may be negative.
        length_s: from there to when half the depth is left.
        lift_um: how far the tape is off the head in the middle; 0 where the coat is missing.
        missing_db: loss at all frequencies in the middle; 0 where the tape lifts.
        left, right: which tracks it hits.
    """

    start_s: float
    length_s: float
    lift_um: float
    missing_db: float
    left: bool
    right: bool

    @property
    def edge_s(self) -> float:
        """Length of each edge, centred on its half-depth point."""
        return EDGE_SHARE * self.length_s

    def touches(self, duration_s: float) -> bool:
        """Whether any of it lies between 0 and ``duration_s``."""
        reach_s = self.edge_s / 2
        return self.start_s - reach_s < duration_s and self.start_s + self.length_s + reach_s > 0

    def shape(self, times_s: NDArray[np.float64]) -> NDArray[np.float64]:
        """Its depth re the middle, 0 to 1, with raised-cosine edges."""
        since_s = times_s - self.start_s
        near_s = np.minimum(since_s, self.length_s - since_s)
        return np.asarray(0.5 - 0.5 * np.cos(np.pi * np.clip(near_s / self.edge_s + 0.5, 0.0, 1.0)))


def strike(samples: NDArray[np.float32], sample_rate_hz: int, events: Iterable[Dropout]) -> None:
    """What these dropouts do to both tracks, shape (2, frames), in place."""
    frames = samples.shape[1]
    for event in events:
        first = max(0, math.floor((event.start_s - event.edge_s / 2) * sample_rate_hz))
        last = min(frames, math.ceil((event.start_s + event.length_s + event.edge_s / 2) * sample_rate_hz) + 1)
        for row, hit in zip(samples, (event.left, event.right), strict=True):
            if not hit or first >= last:
                continue
            if event.missing_db:
                loss_db = event.missing_db * event.shape(np.arange(first, last) / sample_rate_hz)
                row[first:last] *= (10 ** (-loss_db / 20)).astype(np.float32)
            elif event.lift_um:
                _lift(row, event, first, last, sample_rate_hz)


def _lift(row: NDArray[np.float32], event: Dropout, first: int, last: int, sample_rate_hz: int) -> None:
    from ..kernels.varying_filter import vary

    # The next power of two: few banks serve all dropouts, and a small lift needs no long filter.
    reach_um = 2.0 ** math.ceil(math.log2(max(event.lift_um, 0.25)))
    steps = first + _STEP_FRAMES * np.arange(-(-(last - first) // _STEP_FRAMES) + 1)
    lifts_um = event.lift_um * event.shape(steps / sample_rate_hz)
    places = (lifts_um * ((_FILTERS - 1) / reach_um)).astype(np.float32)
    vary(row, first, last, _filters(reach_um, sample_rate_hz), places, _STEP_FRAMES)


@lru_cache(maxsize=16)
def _filters(reach_um: float, sample_rate_hz: int) -> NDArray[np.float32]:
    """Spacing losses from none to ``reach_um``, evenly."""
    lifts_um = np.linspace(0.0, reach_um, _FILTERS)[:, None]
    return symmetric_taps(spacing_factor(lifts_um, grid_hz(sample_rate_hz)), side_frames(sample_rate_hz, reach_um))
