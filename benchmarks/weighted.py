"""What failures prove that do not all count alike.

M. P. Fay and E. J. Feuer, "Confidence intervals for directly standardized rates: a method based on the gamma
distribution", Statistics in Medicine 16 (1997) 791-801: exact for equal weights, and on the safe side for others.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from .statistics import CONFIDENCE, Estimate

FEWEST_EFFECTIVE = 20
"""Below this many effective failures they say too little of those that were not met: where heavy ones are rare, few
runs reach it, and those that do are the ones that met none of them."""

LOADED = 5
"""If tapes of some weight failed one time in two, so many would all load with a chance of 3 %."""

NONE_MET = 3.0
"""Failures expected at the most where none was met, one-sided with 95 %."""


def weighted_rate(weights: Sequence[float], heaviest: float, missed: float = 0.0) -> Estimate:
    """The sum of the weights of the failures met, as a rate.

    Args:
        weights: one a failure; so much of the rate does it stand for.
        heaviest: what a failure that was not met would have weighed at the most.
        missed: what one that was just missed would have weighed. With 20 effective failures or more, it among them, it
            stands in the place of ``heaviest``.

    >>> exact = weighted_rate([1e-3] * 20, 1e-3)
    >>> f"{exact.low:.5f} {exact.high:.5f}"
    '0.01222 0.03089'
    """
    from scipy.special import gammaincinv

    tail = (1 - CONFIDENCE) / 2
    more = max(missed, *weights) if weights else heaviest
    if min(effective(weights), effective([*weights, more])) < FEWEST_EFFECTIVE:
        more = heaviest
    unit = max(more, *weights) if weights else more
    method = "weighted failures, gamma (Fay and Feuer 1997), 95 % two-sided"
    if unit == 0:
        return Estimate(0.0, 0.0, 0.0, method)
    parts, more = [weight / unit for weight in weights], more / unit  # their squares would vanish otherwise
    rate = math.fsum(parts)
    square = math.fsum(part * part for part in parts)
    low = float(square / rate * gammaincinv(rate * rate / square, tail)) if rate else 0.0
    spread = (square + more * more) / (rate + more)
    high = float(spread * gammaincinv((rate + more) / spread, 1 - tail))
    return Estimate(unit * rate, unit * low, min(unit * high, 1.0), method)


def just_missed(tapes: Iterable[tuple[float, bool]]) -> float:
    """What a failure would have weighed that was just missed.

    Args:
        tapes: all that were drawn in a stratum, the weight of each and whether it failed.

    The tapes that are next heavier than the heaviest failure are most like it; the fifth of them is taken, or the
    heaviest if there are fewer. Without a failure nothing is known, and it is 0.

    >>> just_missed([(1.0, True), (9.0, False), (2.0, False), (3.0, False)])
    9.0
    """
    drawn = list(tapes)
    met = max((weight for weight, failed in drawn if failed), default=math.inf)
    heavier = sorted(weight for weight, _ in drawn if weight > met)
    if not heavier:
        return 0.0 if met == math.inf else met
    return heavier[min(LOADED, len(heavier)) - 1]


def unseen(tapes: Iterable[tuple[float, bool]]) -> float:
    """One-sided 95 % bound on the failures of a stratum that strike alike all tapes that are no graver than most.

    Those are the tapes that plain runs make at least as often. Where one failed, such failures have been met.

    Args:
        tapes: all that were drawn in the stratum, the weight of each re one of a plain run, and whether it failed.

    >>> unseen([(1.5, False)] * 30 + [(1e-3, True)] * 50)
    0.1
    """
    mild = [failed for weight, failed in tapes if weight >= 1]
    return 0.0 if any(mild) else min(1.0, NONE_MET / max(len(mild), 1))


def effective(weights: Sequence[float]) -> float:
    """How many failures of equal weight would prove as much (L. Kish 1965).

    >>> effective([2.0, 2.0, 2.0])
    3.0
    """
    largest = max(weights, default=0.0)
    if largest == 0:
        return 0.0
    parts = [weight / largest for weight in weights]
    return math.fsum(parts) ** 2 / math.fsum(part * part for part in parts)
