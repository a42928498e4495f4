"""A row of the suite: what was done, how fast, against whom, and whether that is what was aimed at."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class Row:
    """One goal and what was measured.

    Attributes:
        work: what was done.
        rival: against whom, in the same run.
        cores: how many were used.
        goal: of ``ratio``.
        at_least: whether the goal is a floor, and not a ceiling.
        ratio: how many times as fast as the rival (floors) or how many times as long as it (ceilings); None where
            nothing was measured.
        low, high: quartiles of the ratio over the rounds; None where there is but one measurement.
        ours, theirs: in ``unit``, medians.
        note: what else there is to know; why nothing was measured.
    """

    work: str
    rival: str
    cores: int
    goal: float
    at_least: bool = True
    ratio: float | None = None
    low: float | None = None
    high: float | None = None
    ours: float | None = None
    theirs: float | None = None
    unit: str = ""
    note: str = ""

    @property
    def met(self) -> bool | None:
        """Whether the goal is met; None where nothing was measured."""
        if self.ratio is None:
            return None
        return self.ratio >= self.goal if self.at_least else self.ratio <= self.goal

    def as_json(self) -> dict[str, Any]:
        """Plain data."""
        return {**asdict(self), "met": self.met}
