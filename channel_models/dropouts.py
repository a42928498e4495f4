"""Dropouts: moments in which the tape leaves the head, or has lost its coat."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
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
from .dropout import EDGE_SHARE, Dropout, strike
from .reading import RATE_HZ
from .tilt import TiltedChance, TiltedGaussian

PER_MINUTE_PER_PASS = 0.03
"""Dropouts a minute that a play adds on the outer track: one in 30 plays, six in 200 (modelling prior)."""

_MOST_IN_CLUSTER = 50
_PROBE_HZ = 6300.0


@dataclass(frozen=True, slots=True)
class _Tilted:
    """How the four draws that make a dropout grave are drawn."""

    length: TiltedGaussian
    lift: TiltedGaussian
    missing: TiltedChance
    both: TiltedChance


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
        first_s, beyond_s = self.span_s(duration_s)
        found = []
        for start_s, cluster in self._clusters(first_s, rng):
            if start_s >= beyond_s:
                break
            found += [event for event in cluster if event.touches(duration_s)]
        return tuple(sorted(found, key=lambda event: event.start_s))

    def _clusters(self, start_s: float, rng: np.random.Generator) -> Iterator[tuple[float, list[Dropout]]]:
        if self.rate_per_s == 0:
            return
        mean_size = self.cluster_size
        while True:
            start_s += rng.exponential(mean_size / self.rate_per_s)
            size = self._cluster(rng)
            yield (
                start_s,
                [self._dropout(start_s + (rng.uniform(0.0, self.cluster_s) if k else 0.0), rng) for k in range(size)],
            )

    def _cluster(self, rng: np.random.Generator) -> int:
        return min(int(rng.geometric(1 / self.cluster_size)), _MOST_IN_CLUSTER) if self.cluster_size > 1 else 1

    def _dropout(self, start_s: float, rng: np.random.Generator) -> Dropout:
        both, right = self._hit_shares
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

    @property
    def _hit_shares(self) -> tuple[float, float]:
        """Shares of all dropouts that hit both tracks, and that hit the right one."""
        one = 1 + self.inner_share * (1 - self.both_share)
        return self.inner_share * self.both_share / one, self.inner_share / one

    def _lift_um(self, rng: np.random.Generator) -> float:
        while True:
            lift_um = self.lift_um * math.exp(self.lift_sigma * gaussian(rng))
            if lift_um >= self.least_um:
                return lift_um

    def treat(self, samples: NDArray[np.float32], sample_rate_hz: int, rng: np.random.Generator) -> None:
        strike(samples, sample_rate_hz, self.events(samples.shape[1] / sample_rate_hz, rng))

    def span_s(self, duration_s: float) -> tuple[float, float]:
        """See ``Eventful``; an arrival is a cluster."""
        reach_s = self.longest_s * EDGE_SHARE / 2
        return -self.longest_s - reach_s - self.cluster_s, duration_s + reach_s

    def mean_arrivals(self, duration_s: float) -> float:
        """See ``Eventful``."""
        first_s, beyond_s = self.span_s(duration_s)
        return self.rate_per_s / self.cluster_size * (beyond_s - first_s)

    def arrive(self, start_s: float, severity: float, rng: np.random.Generator) -> tuple[Dropout, ...]:
        """See ``Eventful``. Tilted are the length, the lift, and the chances of a missing coat and of both tracks."""
        tilted = self._tilted(severity)
        later_s = (rng.uniform(0.0, self.cluster_s) if place else 0.0 for place in range(self._cluster(rng)))
        return tuple(self._graver(start_s + one_s, tilted, rng) for one_s in later_s)

    def log_ratio(self, events: Sequence[Dropout], severity: float) -> float:
        """See ``Eventful``."""
        tilted = self._tilted(severity)
        total = 0.0
        for event in events:
            total += tilted.length.log_ratio(_deviations(1000 * event.length_s / self.length_ms, self.length_sigma))
            total += tilted.both.log_ratio(event.left and event.right) + tilted.missing.log_ratio(event.missing_db > 0)
            if event.lift_um:
                total += tilted.lift.log_ratio(_deviations(event.lift_um / self.lift_um, self.lift_sigma))
        return total

    def strike(self, samples: NDArray[np.float32], sample_rate_hz: int, events: Sequence[Dropout]) -> None:
        """See ``Eventful``."""
        strike(samples, sample_rate_hz, events)

    def _graver(self, start_s: float, tilted: _Tilted, rng: np.random.Generator) -> Dropout:
        length_s = self.length_ms / 1000 * math.exp(self.length_sigma * tilted.length.drawn(rng))
        missing = tilted.missing.drawn(rng)
        lift_um = 0.0 if missing else self.lift_um * math.exp(self.lift_sigma * tilted.lift.drawn(rng))
        both, right = self._hit_shares
        hits_both = tilted.both.drawn(rng)
        hits_right = hits_both or bool(rng.random() * (1 - both) < right - both)
        missing_db = self.missing_db if missing else 0.0
        return Dropout(start_s, length_s, lift_um, missing_db, hits_both or not hits_right, hits_right)

    @lru_cache(maxsize=64)  # noqa: B019 - a frozen model, which is as good as its parameters
    def _tilted(self, severity: float) -> _Tilted:
        """What cannot make a dropout graver is left as it is: a spread of zero, a missing coat that costs nothing."""
        least = -MOST_DEVIATIONS
        if self.lift_sigma and self.lift_um and self.least_um:
            least = max(least, math.log(self.least_um / self.lift_um) / self.lift_sigma)
        told = self.lift_um > 0 and self.missing_db > 0
        return _Tilted(
            TiltedGaussian(severity if self.length_sigma else 0.0, -MOST_DEVIATIONS, MOST_DEVIATIONS),
            TiltedGaussian(severity if self.lift_sigma else 0.0, least, MOST_DEVIATIONS),
            TiltedChance(severity if told else 0.0, self.missing_share),
            TiltedChance(severity, self._hit_shares[0]),
        )

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


def _deviations(times_the_median: float, sigma: float) -> float:
    return math.log(times_the_median) / sigma if sigma else 0.0


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
