"""Intervals for what the counts show, each with the name of its method.

Loads are counted in whole tapes, the independent units. Bytes of one tape fail together, so that their rate gets an
interval clustered by tape, and with few failing tapes only what those few tapes can prove.

Sources: Clopper & Pearson, Biometrika 26 (1934) 404-413 for the exact binomial interval; Cochran, Sampling
Techniques (1977), section 6.3, for the ratio of sums and its variance between clusters.
"""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass

from ..contracts.errors import UsageError
from .tally import Tally

CONFIDENCE = 0.95

FEWEST_FAILING_TAPES = 10
"""Below this many failing tapes their byte errors say too little about tapes not seen."""


@dataclass(frozen=True, slots=True)
class Estimate:
    """A rate with its interval.

    Attributes:
        rate: the share observed.
        low, high: the interval, by ``method``.
        method: how it was made, with its confidence and whether it is one- or two-sided.
    """

    rate: float
    low: float
    high: float
    method: str

    def as_json(self) -> dict[str, float | str]:
        """Plain numbers and words."""
        return asdict(self)


def clopper_pearson(hits: int, trials: int, confidence: float = CONFIDENCE) -> tuple[float, float]:
    """The exact two-sided interval of a binomial share.

    >>> low, high = clopper_pearson(81, 263)
    >>> f"{low:.4f} {high:.4f}"
    '0.2527 0.3676'
    """
    tail = (1 - confidence) / 2
    return _lower(hits, trials, tail), 1 - _lower(trials - hits, trials, tail)


def at_least(hits: int, trials: int, confidence: float = CONFIDENCE) -> float:
    """The one-sided lower bound on a binomial share.

    >>> f"{at_least(299, 299):.4f}"
    '0.9900'
    """
    return _lower(hits, trials, 1 - confidence)


def at_most(hits: int, trials: int, confidence: float = CONFIDENCE) -> float:
    """The one-sided upper bound on a binomial share.

    >>> f"{at_most(0, 100):.6f}"
    '0.029513'
    """
    return 1 - _lower(trials - hits, trials, 1 - confidence)


def tapes_needed(success: float, failures: int = 0, confidence: float = CONFIDENCE) -> int:
    """The fewest tapes that show a success above ``success`` (one-sided) when at most ``failures`` of them fail.

    >>> [tapes_needed(0.99, failures) for failures in (0, 1, 2)]
    [299, 473, 628]

    Raises:
        UsageError: a success outside 0 to 1.
    """
    if not 0 < success < 1:
        raise UsageError(f"Argument 'success' must lie between 0 and 1, not {success}.")
    too_few, enough = failures, failures + 1
    while at_least(enough - failures, enough, confidence) < success:
        too_few, enough = enough, 2 * enough
    while enough - too_few > 1:
        middle = (too_few + enough) // 2
        if at_least(middle - failures, middle, confidence) < success:
            too_few = middle
        else:
            enough = middle
    return enough


def load_success(tally: Tally) -> Estimate:
    """The share of tapes that load right."""
    low, high = clopper_pearson(tally.right, tally.trials)
    return Estimate(tally.right / tally.trials, low, high, "Clopper-Pearson 95 % two-sided")


def residual_byte_error_rate(tally: Tally, payload_bytes: int) -> Estimate:
    """The share of payload bytes that come out wrong or missing.

    With at least ten tapes that have a wrong byte, and ten that have a right one: the ratio of sums, its variance
    taken between tapes, on the logarithmic scale (the rate cannot be below 0 and its spread grows with it), with
    Student's t at one degree of freedom less than such tapes. The variance is at least that of one byte on one tape.

    With fewer than ten tapes that have a wrong byte (none included): every such tape has at least one wrong byte and
    at most all, so the rate lies between the lower Clopper-Pearson limit on the share of such tapes divided by the
    payload's length, and the upper one. With fewer than ten tapes that have a right byte: the same, mirrored.

    What it cannot know: if one failing tape in ten loses everything and none such was met yet, the clustered interval
    is too narrow, like any interval made from what was seen.
    """
    trials, wrong, right = tally.trials, tally.tapes_with_byte_errors, tally.trials - tally.tapes_wholly_wrong
    rate = tally.byte_errors / (trials * payload_bytes)
    bounded = "tape-level bound: Clopper-Pearson 95 % two-sided on tapes with a {} byte, each with 1 to {} of them"
    if wrong < FEWEST_FAILING_TAPES:
        low, high = clopper_pearson(wrong, trials)
        return Estimate(rate, low / payload_bytes, high, bounded.format("wrong", payload_bytes))
    if right < FEWEST_FAILING_TAPES:
        low, high = clopper_pearson(right, trials)
        return Estimate(rate, 1 - high, 1 - low / payload_bytes, bounded.format("right", payload_bytes))
    from scipy.special import stdtrit

    degrees = min(wrong, right) - 1
    squares = max(tally.byte_errors_squared - tally.byte_errors**2 / trials, 1.0)
    relative_error = math.sqrt(trials / (trials - 1) * squares) / tally.byte_errors
    factor = math.exp(float(stdtrit(degrees, 1 - (1 - CONFIDENCE) / 2)) * relative_error)
    method = f"clustered by tape: ratio of sums, logarithmic, Student t with {degrees} degrees, 95 % two-sided"
    return Estimate(rate, rate / factor, min(1.0, rate * factor), method)


def _lower(hits: int, trials: int, tail: float) -> float:
    """The share under which ``hits`` or more of ``trials`` has the probability ``tail``; 0 for no hits."""
    if not 0 <= hits <= trials or trials < 1:
        raise UsageError(f"Argument 'hits' must be 0 to {trials} and 'trials' at least 1, not {hits} of {trials}.")
    if hits == 0:
        return 0.0
    from scipy.special import betaincinv

    return float(betaincinv(hits, trials - hits + 1, tail))
