"""The final: how many fresh tapes the formats that are shown play, and how many of them may fail. Fixed beforehand.

A limit on success is met when its one-sided bound lies above it: for 0.99 with 95 % confidence 0 failures of 299
tapes, 1 of 473, 2 of 628. Of the pairs that a budget pays for, the one with most failures is taken, as it is the most
likely to be passed by a format that deserves it.

A format that fails its final makes the next one come up, on tapes of its own. Each further attempt doubles the odds
against luck: the first asks for 95 % confidence, the k-th for 1 - 0.05 / 2^(k-1), and plays more tapes for it. So the
chance that what is recommended falls short of the limit stays below 5 % where the first attempt passed, and below
10 % however many it took (Boole's inequality).
"""

from __future__ import annotations

from dataclasses import dataclass

from ..contracts.errors import UsageError
from .limits import Limits
from .statistics import CONFIDENCE, at_least, at_most, tapes_needed
from .tally import Tally

MOST_TAPES = 473
"""Tapes of a final unless another budget is given: for a success of 0.99, one of them may fail."""

MOST_BUDGET = 1_000_000


@dataclass(frozen=True)
class Final:
    """One attempt.

    Attributes:
        tapes: how many are played.
        failures: how many of them may fail.
        confidence: with which the limit is then met.
    """

    tapes: int
    failures: int
    confidence: float

    @property
    def silent_shown(self) -> float:
        """The chance of a silent loss that these tapes leave if none was silent, one-sided 95 %."""
        return at_most(0, self.tapes)

    def passed(self, tally: Tally, limits: Limits, stated: float | None) -> bool:
        """Whether ``tally`` meets the limits.

        Args:
            stated: the chance of a silent loss that the format's check states; None if it has none.
        """
        if at_least(tally.right, tally.trials, self.confidence) < limits.success_at_least:
            return False
        if limits.silent_at_most is None or stated is not None:
            return True
        return at_most(tally.silent, tally.trials) <= limits.silent_at_most


def final(limits: Limits, budget: int = MOST_TAPES, attempt: int = 1) -> Final:
    """What the ``attempt``-th format that comes up for the limits has to play.

    >>> final(Limits(success_at_least=0.99))
    Final(tapes=473, failures=1, confidence=0.95)
    >>> final(Limits(success_at_least=0.99), attempt=2)
    Final(tapes=555, failures=1, confidence=0.975)

    Raises:
        UsageError: a budget that cannot show the success asked for.
    """
    wanted = limits.success_at_least
    least = tapes_needed(wanted)
    if not 1 <= budget <= MOST_BUDGET:
        raise UsageError(f"Argument 'tapes' must be 1 to {MOST_BUDGET}, not {budget}.")
    if budget < least:
        raise UsageError(
            f"choose: {budget} tapes cannot show a success of {wanted:g}; that takes {least:,} without a failure. "
            f"Give --tapes {least} or more, or a lower --success-at-least."
        )
    failures = 0
    while tapes_needed(wanted, failures + 1) <= budget:
        failures += 1
    confidence = asked_of(attempt)
    return Final(tapes_needed(wanted, failures, confidence), failures, confidence)


def asked_of(attempt: int) -> float:
    """The confidence that is asked of the ``attempt``-th format that comes up.

    >>> [asked_of(attempt) for attempt in (1, 2, 3)]
    [0.95, 0.975, 0.9875]
    """
    return 1 - (1 - CONFIDENCE) / 2.0 ** (attempt - 1)
