"""Dropouts: moments in which the tape leaves the head, or has lost its coat."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Self

import numpy as np
from numpy.typing import NDArray

from ..contracts.channel_model import Calibration, Treatment
from ..contracts.errors import UsageError
from ..contracts.parameters import parameter
from ..contracts.signal import Signal
from .draws import MOST_DEVIATIONS, gaussian
from .reading import RATE_HZ
from .tape_loss import grid_hz, side_frames, spacing_factor, symmetric_taps

EDGE_SHARE = 0.25
"""Each raised-cosine edge lasts this share of the length between the half-depth points."""

PER_MINUTE_PER_PASS = 0.03
"""Dropouts a minute that a play adds on the outer track: one in 30 plays, six in 200 (modelling prior)."""

_STEP_FRAMES = 8
_FILTERS = 129
_MOST_IN_CLUSTER = 50
_PROBE_HZ = 6300.0


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


@dataclass(frozen=True)
class Dropouts(Treatment):
    """Poisson arrivals with log-normal length and lift; the lift acts through the spacing loss, so high tones go first.

    The left track is the outer one, at the edge of the tape. Where dropouts overlap their losses add up. A cluster is
    a bunch of dropouts within a second, as many as a geometric number with the given mean; the rate stays. Every play
    adds 0.03 dropouts a minute.
    """

    name = "dropouts"
    summary = "lifts of the tape and missing oxide, at random"
    place = "tape"

    per_minute: float = parameter(
        6.0, "dropouts a minute on the left (outer) track", unit="a minute", low=0.0, high=6000.0
    )
    inner_share: float = parameter(0.4, "rate of the right (inner) track re the left", low=0.0, high=1.0)
    both_share: float = parameter(0.5, "share of the right track's dropouts that hit both tracks", low=0.0, high=1.0)
    length_ms: float = parameter(15.0, "median length between the half-depth points", unit="ms", low=0.01, high=1000.0)
    length_sigma: float = parameter(1.0, "sigma of the logarithm of the length", low=0.0, high=1.5)
    lift_um: float = parameter(2.0, "median lift", unit="um", low=0.0, high=50.0)
    lift_sigma: float = parameter(0.7, "sigma of the logarithm of the lift", low=0.0, high=1.5)
    least_um: float = parameter(0.83, "lifts are drawn given at least this", unit="um", low=0.0, high=50.0)
    missing_share: float = parameter(0.06, "share where the coat is missing instead", low=0.0, high=1.0)
    missing_db: float = parameter(
        30.0, "depth where the coat is missing, at all frequencies", unit="dB", low=0.0, high=120.0
    )
    cluster_size: float = parameter(1.0, "mean number of dropouts that come together; 1 is none", low=1.0, high=20.0)
    passes: int = parameter(0, "plays that the tape has had since", low=0, high=100_000)

    def check(self) -> None:
        highest = self.lift_um * math.exp(self.lift_sigma * MOST_DEVIATIONS / 2)
        if self.least_um > highest and self.missing_share < 1:
            raise UsageError(
                f"dropouts: parameter 'least_um' must be at most {highest:.3g} um, where one in nine is as high at "
                f"this 'lift_um' and 'lift_sigma', not {self.least_um:g}."
            )

    @classmethod
    def nothing(cls) -> Self:
        return cls(per_minute=0.0)

    def at_best(self) -> Self:
        return self.nothing()

    @property
    def worn_per_minute(self) -> float:
        """The outer track's rate after all plays."""
        return self.per_minute + PER_MINUTE_PER_PASS * self.passes

    @property
    def idle(self) -> bool:
        return self.worn_per_minute == 0

    @property
    def rate_per_s(self) -> float:
        """Dropouts a second on either track, one that hits both counted once."""
        return self.worn_per_minute / 60 * (1 + self.inner_share * (1 - self.both_share))

    @property
    def longest_s(self) -> float:
        """No dropout is longer, edges left out."""
        return self.length_ms / 1000 * math.exp(self.length_sigma * MOST_DEVIATIONS)

    @property
    def cluster_s(self) -> float:
        """A cluster starts its dropouts within this time."""
        return 1.0 if self.cluster_size > 1 else 0.0

    def events(self, duration_s: float, rng: np.random.Generator) -> tuple[Dropout, ...]:
        """The dropouts that touch the first ``duration_s`` seconds, in order of their start.

        Their clusters are drawn one after the other along the tape, from before its first frame on, so that a longer
        tape starts with the same ones and the first frame is no better off than any other.
        """
        reach_s = self.longest_s * EDGE_SHARE / 2
        found = []
        for start_s, cluster in self._clusters(-self.longest_s - reach_s - self.cluster_s, rng):
            if start_s - reach_s >= duration_s:
                break
            found += [event for event in cluster if event.touches(duration_s)]
        return tuple(sorted(found, key=lambda event: event.start_s))

    def _clusters(self, start_s: float, rng: np.random.Generator) -> Iterator[tuple[float, list[Dropout]]]:
        if self.rate_per_s == 0:
            return
        mean_size = self.cluster_size
        while True:
            start_s += rng.exponential(mean_size / self.rate_per_s)
            size = 1
            if mean_size > 1:
                size = min(int(rng.geometric(1 / mean_size)), _MOST_IN_CLUSTER)
            yield (
                start_s,
                [self._dropout(start_s + (rng.uniform(0.0, self.cluster_s) if k else 0.0), rng) for k in range(size)],
            )

    def _dropout(self, start_s: float, rng: np.random.Generator) -> Dropout:
        one = 1 + self.inner_share * (1 - self.both_share)
        both = self.inner_share * self.both_share / one
        right = self.inner_share / one
        where, why = rng.random(2)
        length_s = self.length_ms / 1000 * math.exp(self.length_sigma * gaussian(rng))
        missing = why < self.missing_share
        return Dropout(
            start_s,
            length_s,
            lift_um=0.0 if missing else self._lift_um(rng),
            missing_db=self.missing_db if missing else 0.0,
            left=bool(where < both or where >= right),
            right=bool(where < right),
        )

    def _lift_um(self, rng: np.random.Generator) -> float:
        while True:
            lift_um = self.lift_um * math.exp(self.lift_sigma * gaussian(rng))
            if lift_um >= self.least_um:
                return lift_um

    def treat(self, samples: NDArray[np.float32], sample_rate_hz: int, rng: np.random.Generator) -> None:
        strike(samples, sample_rate_hz, self.events(samples.shape[1] / sample_rate_hz, rng))

    @classmethod
    def calibrations(cls) -> tuple[Calibration, ...]:
        steady = Signal(np.full(round(60.0 * RATE_HZ), 0.5, np.float32), RATE_HZ)
        plain = cls(length_sigma=0.0, inner_share=1.0, both_share=1.0, missing_share=1.0, missing_db=12.0)
        often = replace(plain, per_minute=600.0, length_ms=10.0)
        seldom = replace(plain, per_minute=60.0, length_ms=20.0)
        lifts = replace(seldom, missing_share=0.0, lift_um=1.0, lift_sigma=0.0)
        turns = _PROBE_HZ / RATE_HZ * np.arange(round(60.0 * RATE_HZ))
        tone = Signal(0.5 * np.sin(2 * np.pi * turns), RATE_HZ)
        arrivals = (
            "600 Poisson arrivals have a standard deviation of 24.5, which is 6 times within the tolerance; overlaps "
            "are counted by P(covered) = 1 - exp(-rate length)"
        )
        alone = "the median over some 60 dropouts, of which one in thirty overlaps another; edges read to a sample"
        lifted = f"{alone}; Wallace's formula gives 7.223 dB for 1 um at 6.3 kHz, read at the crests within 10 ms"
        return (
            Calibration("per_minute", often, steady, _per_minute, 600.0, 150.0, arrivals),
            Calibration("length_ms", seldom, steady, _length_ms, 20.0, 0.05, alone),
            Calibration("missing_db", seldom, steady, _depth_db, 12.0, 1e-3, alone),
            Calibration("lift_um", lifts, tone, _lift_um, 1.0, 0.02, lifted),
        )


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


def _losses_db(signal: Signal) -> NDArray[np.float64]:
    return np.asarray(-20 * np.log10(np.maximum(signal.samples[0], 1e-9).astype(np.float64) / 0.5))


def _per_minute(signal: Signal) -> float:
    covered = float((_losses_db(signal) > 6.0).mean())
    return -math.log1p(-covered) / 0.010 * 60


def _runs(signal: Signal) -> list[NDArray[np.float64]]:
    losses_db = _losses_db(signal)
    edges = np.flatnonzero(np.diff(losses_db > 6.0)) + 1
    return [run for run in np.split(losses_db, edges)[1:-1] if run[0] > 6.0]


def _length_ms(signal: Signal) -> float:
    return float(np.median([run.size for run in _runs(signal)]) / RATE_HZ * 1000)


def _depth_db(signal: Signal) -> float:
    return float(np.median([run.max() for run in _runs(signal)]))


def _lift_um(signal: Signal) -> float:
    # Seven frames are one period of the probe.
    turn = np.exp(-2j * np.pi * np.arange(7) / 7)
    envelope = np.abs(np.convolve(signal.samples[0].astype(np.float64), turn, mode="valid")) * 2 / 7
    losses_db = -20 * np.log10(np.maximum(envelope, 1e-9) / 0.5)
    edges = np.flatnonzero(np.diff(losses_db > 3.0)) + 1
    deepest = [run.max() for run in np.split(losses_db, edges)[1:-1] if run[0] > 3.0]
    return float(np.median(deepest)) / 7.223
