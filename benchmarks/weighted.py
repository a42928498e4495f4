"""What failures prove that do not all count alike.

M. P. Fay and E. J. Feuer, "Confidence intervals for directly standardized rates: a method based on the gamma
distribution", Statistics in Medicine 16 (1997) 791-801: exact for equal weights, and on the safe side for others.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from .statistics import CONFIDENCE, FEWEST_FAILING_TAPES, Estimate

FEWEST_EFFECTIVE = FEWEST_FAILING_TAPES
"""Below this many effective failures they say too little of those that were not met."""


def weighted_rate(weights: Sequence[float], heaviest: float) -> Estimate:
    """The sum of the weights of the failures met, as a rate.

    Args:
        weights: one a failure; so much of the rate does it stand for.
        heaviest: what a failure that was not met would have weighed at the most. With ten effective failures or more
            it counts for nothing: heavy ones are likely to be met, and would have been.

    >>> exact = weighted_rate([1e-3] * 10, 1e-3)
    >>> f"{exact.low:.5f} {exact.high:.5f}"
    '0.00480 0.01839'
    """
    from scipy.special import gammaincinv

    tail = (1 - CONFIDENCE) / 2
    rate = math.fsum(weights)
    square = math.fsum(weight * weight for weight in weights)
    more = heaviest if effective(weights) < FEWEST_EFFECTIVE else max(weights)
    low = float(square / rate * gammaincinv(rate * rate / square, tail)) if weights else 0.0
    spread = (square + more * more) / (rate + more)
    high = float(spread * gammaincinv((rate + more) / spread, 1 - tail))
    return Estimate(rate, low, min(high, 1.0), "weighted failures, gamma (Fay and Feuer 1997), 95 % two-sided")


def effective(weights: Sequence[float]) -> float:
    """How many failures of equal weight would prove as much (L. Kish 1965).

    >>> effective([2.0, 2.0, 2.0])
    3.0
    """
    square = math.fsum(weight * weight for weight in weights)
    return math.fsum(weights) ** 2 / square if square else 0.0
