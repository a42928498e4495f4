"""Where to aim: from tapes that scouts have played to how further ones are drawn and spread over the strata."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from .struck import PLACES, SEVERITIES, Aim, Blow, Stratum
from .tally import Tally

NEGLIGIBLE = 1e-9
"""The last stratum, so many arrivals or more, is less likely than this."""

MOST_STRATA = 16

FEWEST_TAPES = 8
"""Of any stratum."""

LEAST_SHARE = 0.1
"""Of the tapes that count, spread evenly over all strata."""

DOUBT = 0.5
"""Failures that the scouts of a stratum are thought to have just missed, among its graver tapes."""

_GRAVER = 0.1
"""The tapes that the law itself makes least often, as a share of all."""

OWN_LAW = 0.1
"""Share of the law itself among the severities."""

ANYWHERE = 0.3
"""Share of all places alike."""

GRAVE = Aim((OWN_LAW, 0.15, 0.25, 0.3, 0.2))
"""Before anything is known: what is rare is grave."""

_FEWEST_SEEN = 3
"""A stratum in which the scouts saw fewer failures aims where those of all strata were."""


@dataclass(frozen=True, slots=True)
class Portion:
    """How many tapes of a stratum are played, and how they are drawn."""

    stratum: Stratum
    tapes: int
    aim: Aim = GRAVE


@dataclass(frozen=True, slots=True, eq=False)
class Played:
    """One tape: how it was drawn, what befell it and what came of it."""

    portion: Portion
    blow: Blow
    tally: Tally

    @property
    def weight(self) -> float:
        """What the tape counts for, re one that was not aimed at."""
        return self.blow.weight(self.portion.aim)

    @property
    def ratio(self) -> float:
        """The same, re one of its stratum."""
        return self.blow.ratio(self.portion.aim)

    @property
    def part(self) -> float:
        """What it adds to the rate of failures if it fails."""
        return self.weight / self.portion.tapes

    @property
    def failed(self) -> bool:
        """Whether the load is not right."""
        return self.tally.right == 0


def strata(mean: float) -> tuple[Stratum, ...]:
    """One arrival, two ..., and the rest in one.

    >>> [stratum.arrivals for stratum in strata(0.05)]
    [1, 2, 3, 4, 5, 6]
    """
    last = 2
    while last < MOST_STRATA and Stratum(last, True).chance(mean) > NEGLIGIBLE:
        last += 1
    return (*(Stratum(number) for number in range(1, last)), Stratum(last, True))


def first_portions(layers: tuple[Stratum, ...], tapes: int) -> list[Portion]:
    """For the first scouts: the fewer arrivals, the likelier, and the more tapes."""
    shares = [stratum.arrivals**-2.0 for stratum in layers]
    counts = _shared_out(tapes, shares)
    return [Portion(stratum, count) for stratum, count in zip(layers, counts, strict=True)]


def spread(scouts: list[Played], tapes: int) -> list[Portion]:
    """How further tapes are best drawn and spread over the strata, from what the scouts met."""
    by_stratum: dict[Stratum, list[Played]] = {}
    for one in scouts:
        by_stratum.setdefault(one.portion.stratum, []).append(one)
    failed = [one for one in scouts if one.failed]
    elsewhere = Aim(GRAVE.severities, _places(failed)) if failed else GRAVE
    aims = {stratum: _aim(played, elsewhere) for stratum, played in by_stratum.items()}
    roots = [
        by_stratum[stratum][0].blow.chance
        * math.sqrt(_second_moment(by_stratum[stratum], aim) + _doubt(by_stratum[stratum]))
        for stratum, aim in aims.items()
    ]
    all_of_them = sum(roots) or 1.0  # chances may be too small for a number
    shares = [LEAST_SHARE / len(roots) + (1 - LEAST_SHARE) * root / all_of_them for root in roots]
    counts = _shared_out(tapes, shares)
    return [Portion(stratum, count, aims[stratum]) for stratum, count in zip(by_stratum, counts, strict=True)]


def _shared_out(tapes: int, shares: list[float]) -> list[int]:
    """Whole tapes in these shares, at least some each; ``tapes`` in all."""
    left = tapes - FEWEST_TAPES * len(shares)
    counts = [FEWEST_TAPES + int(left * share / sum(shares)) for share in shares]
    counts[int(np.argmax(shares))] += tapes - sum(counts)
    return counts


def _aim(played: list[Played], elsewhere: Aim) -> Aim:
    """How tapes of the stratum are drawn so that their failures are known best."""
    failed = [one for one in played if one.failed]
    if len(failed) < _FEWEST_SEEN:
        return elsewhere
    places = _places(failed)
    aims = [Aim(GRAVE.severities, places)]
    for grave in range(len(SEVERITIES)):
        for often in (0.5, 0.9):
            shares = np.full(len(SEVERITIES), (1 - OWN_LAW) * (1 - often) / (len(SEVERITIES) - 1))
            shares[0] = OWN_LAW
            shares[grave] += 1 - float(shares.sum())
            aims.append(Aim(tuple(shares.tolist()), places))
    return min(aims, key=lambda aim: _second_moment(played, aim))


def _places(failed: list[Played]) -> tuple[float, ...]:
    """Where arrivals fell that made tapes fail, and beside there; a part of the chance is spread over all places."""
    hits = np.zeros(PLACES)
    for one in failed:
        for place in one.blow.places.tolist():
            for beside, share in ((place - 1, 0.25), (place, 0.5), (place + 1, 0.25)):
                hits[min(max(beside, 0), PLACES - 1)] += share / one.blow.places.size
    chances = ANYWHERE / PLACES + (1 - ANYWHERE) * hits / hits.sum()
    return tuple((chances / chances.sum()).tolist())


def _second_moment(played: list[Played], aim: Aim) -> float:
    """Mean square of what a tape counts for in its stratum (0 if it loads), were it drawn with ``aim``."""
    return sum(one.ratio * one.blow.ratio(aim) for one in played if one.failed) / len(played)


def _doubt(played: list[Played]) -> float:
    """Mean square of what a tape counts for in its stratum, 0 but for failures that were just missed."""
    return DOUBT / len(played) * float(np.quantile([one.ratio for one in played], _GRAVER)) ** 2
