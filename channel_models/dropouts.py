"""Dropouts: moments in which the tape leaves the head, or has lost its coat."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import NDArray

from ..contracts.channel_model import Calibration, ChannelModel
from ..contracts.errors import UsageError
from ..contracts.parameters import parameter
from ..contracts.signal import Signal
from .draws import MOST_DEVIATIONS, gaussian
from .reading import RATE_HZ

EDGE_SHARE = 0.25
"""Each raised-cosine edge lasts this share of the length between the half-depth points."""


@dataclass(frozen=True, slots=True)
class Dropout:
    """One dropout.

    Attributes:
        start_s: when half the depth (in dB) is reached, in seconds from the first frame; may be negative.
        length_s: from there to when half the depth is left.
        depth_db: loss in the middle.
        left, right: which tracks it hits.
    """

    start_s: float
    length_s: float
    depth_db: float
    left: bool
    right: bool

    @property
    def edge_s(self) -> float:
        """Length of each edge, centred on its half-depth point."""
        return EDGE_SHARE * self.length_s


@dataclass(frozen=True)
class Dropouts(ChannelModel):
    """Poisson arrivals with log-normal length and depth, the same loss at all frequencies.

    The left track is the outer one, at the edge of the tape. Where dropouts overlap their losses in dB add up.
    """

    name = "dropouts"
    summary = "short losses of level, at random"
    place = "tape"

    per_minute: float = parameter(
        6.0, "dropouts a minute on the left (outer) track", unit="a minute", low=0.0, high=6000.0
    )
    inner_share: float = parameter(0.4, "rate of the right (inner) track re the left", low=0.0, high=1.0)
    both_share: float = parameter(0.5, "share of the right track's dropouts that hit both tracks", low=0.0, high=1.0)
    length_ms: float = parameter(15.0, "median length between the half-depth points", unit="ms", low=0.01, high=1000.0)
    length_sigma: float = parameter(1.0, "sigma of the logarithm of the length", low=0.0, high=1.5)
    depth_db: float = parameter(12.0, "median depth", unit="dB", low=0.0, high=120.0)
    depth_sigma: float = parameter(0.5, "sigma of the logarithm of the depth", low=0.0, high=1.5)
    least_db: float = parameter(0.0, "depths are drawn given at least this", unit="dB", low=0.0, high=60.0)
    missing_share: float = parameter(0.0, "share where the coat is missing, with a depth of its own", low=0.0, high=1.0)
    missing_db: float = parameter(30.0, "depth where the coat is missing", unit="dB", low=0.0, high=120.0)

    def check(self) -> None:
        deepest = self.depth_db * math.exp(self.depth_sigma * MOST_DEVIATIONS / 2)
        if self.least_db > deepest:
            raise UsageError(
                f"dropouts: parameter 'least_db' must be at most {deepest:.3g} dB, where one in nine is as deep at "
                f"this 'depth_db' and 'depth_sigma', not {self.least_db:g}."
            )

    @classmethod
    def nothing(cls) -> Self:
        return cls(per_minute=0.0)

    @property
    def rate_per_s(self) -> float:
        """Dropouts a second on either track, one that hits both counted once."""
        return self.per_minute / 60 * (1 + self.inner_share * (1 - self.both_share))

    @property
    def longest_s(self) -> float:
        """No dropout is longer, edges left out."""
        return self.length_ms / 1000 * math.exp(self.length_sigma * MOST_DEVIATIONS)

    def events(self, duration_s: float, rng: np.random.Generator) -> tuple[Dropout, ...]:
        """The dropouts that touch the first ``duration_s`` seconds, in order of their start.

        They are drawn one after the other along the tape, from before its first frame on, so that a longer tape
        starts with the same ones and the first frame is no better off than any other.
        """
        reach = self.longest_s * (1 + EDGE_SHARE / 2)
        found = []
        for event in self._drawn(-reach, rng):
            if event.start_s - self.longest_s * EDGE_SHARE / 2 >= duration_s:
                break
            ends = event.start_s + event.length_s + event.edge_s / 2 > 0
            if ends and event.start_s - event.edge_s / 2 < duration_s:
                found.append(event)
        return tuple(found)

    def _drawn(self, start_s: float, rng: np.random.Generator) -> Iterator[Dropout]:
        if self.rate_per_s == 0:
            return
        one = 1 + self.inner_share * (1 - self.both_share)
        both = self.inner_share * self.both_share / one
        right = self.inner_share / one
        while True:
            start_s += rng.exponential(1 / self.rate_per_s)
            where, why = rng.random(2)
            length_s = self.length_ms / 1000 * math.exp(self.length_sigma * gaussian(rng))
            depth_db = self.missing_db if why < self.missing_share else self._depth_db(rng)
            yield Dropout(
                start_s, length_s, depth_db, left=bool(where < both or where >= right), right=bool(where < right)
            )

    def _depth_db(self, rng: np.random.Generator) -> float:
        while True:
            depth_db = self.depth_db * math.exp(self.depth_sigma * gaussian(rng))
            if depth_db >= self.least_db:
                return depth_db

    def degrade(self, signal: Signal, rng: np.random.Generator) -> Signal:
        rate = signal.sample_rate_hz
        events = self.events(signal.duration_s, rng)
        if not events or signal.frames == 0:
            return signal
        out = signal.samples.copy()
        for event in events:
            first = max(0, math.floor((event.start_s - event.edge_s / 2) * rate))
            last = min(signal.frames, math.ceil((event.start_s + event.length_s + event.edge_s / 2) * rate) + 1)
            times_s = np.arange(first, last) / rate - event.start_s
            near_s = np.minimum(times_s, event.length_s - times_s)
            share = np.clip(near_s / event.edge_s + 0.5, 0.0, 1.0)
            loss_db = event.depth_db * (0.5 - 0.5 * np.cos(np.pi * share))
            gain = (10 ** (-loss_db / 20)).astype(np.float32)
            if event.left:
                out[0, first:last] *= gain
            if event.right:
                out[1, first:last] *= gain
        return Signal.owning(out, rate)

    @classmethod
    def calibrations(cls) -> tuple[Calibration, ...]:
        steady = Signal(np.full(round(60.0 * RATE_HZ), 0.5, np.float32), RATE_HZ)
        plain = {"length_sigma": 0.0, "depth_sigma": 0.0, "inner_share": 1.0, "both_share": 1.0}
        often = cls(per_minute=600.0, length_ms=10.0, depth_db=12.0, **plain)
        seldom = cls(per_minute=60.0, length_ms=20.0, depth_db=12.0, **plain)
        arrivals = (
            "600 Poisson arrivals have a standard deviation of 24.5, which is 6 times within the tolerance; overlaps "
            "are counted by P(covered) = 1 - exp(-rate length)"
        )
        alone = "the median over some 60 dropouts, of which one in thirty overlaps another; edges read to a sample"
        return (
            Calibration("per_minute", often, steady, _per_minute, 600.0, 150.0, arrivals),
            Calibration("length_ms", seldom, steady, _length_ms, 20.0, 0.05, alone),
            Calibration("depth_db", seldom, steady, _depth_db, 12.0, 1e-3, alone),
        )


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
