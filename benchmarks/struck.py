"""A channel whose events are drawn on purpose: so many, and graver ones more often, with the weight that takes it back.

Noise, drift and all else stay as they are. The number of arrivals is Poisson and its chance is known, so that tapes
with none, with one, with two ... are strata. Within one, each arrival is drawn from a mixture of severities and from
some places more than from others; its weight is the density of the law over that of the mixture (the balance heuristic:
E. Veach and L. J. Guibas 1995). A fifth of the tapes is aimed at nothing, so that none weighs more than five times as
much as one of a plain run.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import Any, Self

import numpy as np
from numpy.typing import NDArray

from ..contracts.channel_model import Channel, Treatment
from ..contracts.errors import UsageError
from ..contracts.eventful import Eventful

SEVERITIES = (0.0, 1.0, 2.0, 3.0, 4.0)

PLAIN, ONE = 0.2, 0.4
"""Shares of tapes whose arrivals all come by the law itself, so that no tape weighs more than one over it; and of those
where only one of them, whichever, is aimed: most failures have one culprit. On the rest all are aimed."""

PLACES = 64
"""Even parts of the time in which arrivals may touch the tape."""


@dataclass(frozen=True, slots=True)
class Aim:
    """How arrivals are drawn.

    Attributes:
        severities: chance of each of ``SEVERITIES``.
        places: chance of each of ``PLACES``.
    """

    severities: tuple[float, ...]
    places: tuple[float, ...] = (1 / PLACES,) * PLACES


@dataclass(frozen=True, slots=True)
class Stratum:
    """Tapes with so many arrivals, or with that many and more."""

    arrivals: int
    or_more: bool = False

    def chance(self, mean: float) -> float:
        """Of a tape to be in it.

        >>> round(sum(Stratum(n, n == 3).chance(0.7) for n in range(4)), 12)
        1.0
        """
        from scipy.special import gammainc

        if self.or_more:
            return float(gammainc(self.arrivals, mean)) if self.arrivals else 1.0
        return math.exp(self.arrivals * math.log(mean) - mean - math.lgamma(self.arrivals + 1))

    def drawn(self, mean: float, rng: np.random.Generator) -> int:
        """A number of arrivals within the stratum."""
        if not self.or_more:
            return self.arrivals
        left = rng.random() * self.chance(mean)
        number = self.arrivals
        while left > 0:
            left -= Stratum(number).chance(mean)
            number += 1
            if number > mean + 100 * math.sqrt(mean + 10):  # what is left is rounding
                break
        return max(number - 1, self.arrivals)


@dataclass(frozen=True, slots=True, eq=False)
class Blow:
    """What befell one tape.

    Attributes:
        chance: of its stratum.
        ratios: density of each arrival's events at each of ``SEVERITIES`` re the law, shape (arrivals, severities).
        places: in which of ``PLACES`` each arrival fell, shape (arrivals,).
    """

    chance: float
    ratios: NDArray[np.float64]
    places: NDArray[np.int64]

    def weight(self, aim: Aim) -> float:
        """What the tape counts for, re one that was not aimed at, if drawn with ``aim``."""
        return self.chance * self.ratio(aim)

    def ratio(self, aim: Aim) -> float:
        """The same, re one of its stratum."""
        likelier = (self.ratios @ np.array(aim.severities)) * (PLACES * np.array(aim.places)[self.places])
        one = likelier.mean() if likelier.size else 1.0
        return float(1 / (PLAIN + ONE * one + (1 - PLAIN - ONE) * np.prod(likelier)))


@dataclass(frozen=True)
class _Struck(Treatment):
    """In place of the stage with the events; it tells ``blows`` what it did."""

    model: Any
    stratum: Stratum
    aim: Aim
    blows: list[Blow] = field(compare=False)

    @property
    def name(self) -> str:  # type: ignore[override]
        """The stage's own, so that its neighbours' streams stay as they are."""
        return str(self.model.name)

    @property
    def place(self) -> str:  # type: ignore[override]
        return str(self.model.place)

    @classmethod
    def nothing(cls) -> Self:
        raise UsageError("rare: a stage drawn on purpose has no setting that does nothing.")

    @property
    def idle(self) -> bool:
        return False

    def treat(self, samples: NDArray[np.float32], sample_rate_hz: int, rng: np.random.Generator) -> None:
        duration_s = samples.shape[1] / sample_rate_hz
        mean = self.model.mean_arrivals(duration_s)
        first_s, beyond_s = self.model.span_s(duration_s)
        arrivals = self.stratum.drawn(mean, rng)
        aimed = self._aimed(arrivals, rng)
        places = np.where(aimed, rng.choice(PLACES, arrivals, p=self.aim.places), rng.integers(PLACES, size=arrivals))
        severities = np.where(aimed, rng.choice(len(SEVERITIES), arrivals, p=self.aim.severities), 0)
        events: list[Any] = []
        ratios = []
        for place, severity in zip(places.tolist(), severities.tolist(), strict=True):
            start_s = first_s + (place + rng.random()) / PLACES * (beyond_s - first_s)
            come = self.model.arrive(start_s, SEVERITIES[severity], rng)
            ratios.append([math.exp(self.model.log_ratio(come, one)) for one in SEVERITIES])
            events += come
        self.model.strike(samples, sample_rate_hz, events)
        told = np.array(ratios, np.float64).reshape(arrivals, len(SEVERITIES))
        self.blows.append(Blow(self.stratum.chance(mean), told, places))

    def _aimed(self, arrivals: int, rng: np.random.Generator) -> NDArray[np.bool_]:
        """Which arrivals are aimed."""
        toss = rng.random()
        if toss < PLAIN or arrivals == 0:
            return np.zeros(arrivals, np.bool_)
        if toss < PLAIN + ONE:
            return np.asarray(np.arange(arrivals) == rng.integers(arrivals))
        return np.ones(arrivals, np.bool_)


def eventful_stage(channel: Channel) -> int | str:
    """Which stage has the events; why there is none to draw, in one line."""
    found = [place for place, stage in enumerate(channel.stages) if isinstance(stage, Eventful)]
    acting = [place for place in found if channel.stages[place].mean_arrivals(1.0) > 0]  # type: ignore[attr-defined]
    if not acting:
        return "no stage of its channel has events"
    if len(acting) > 1:
        return f"{len(acting)} stages of its channel have events, and one at most can be drawn on purpose"
    return acting[0]


def struck(channel: Channel, place: int, stratum: Stratum, aim: Aim) -> tuple[Channel, list[Blow]]:
    """The channel with the events of stage ``place`` drawn on purpose, and the list where each tape's blow goes."""
    blows: list[Blow] = []
    stages = list(channel.stages)
    stages[place] = _Struck(stages[place], stratum, aim, blows)
    return replace(channel, stages=tuple(stages)), blows
