"""Spread: a figure that differs from one relay to the next, as a data sheet gives it: least, typical, most."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ...contracts.errors import UsageError

TRUNCATED_AT_SD = 2.5
"""The limits of a data sheet stand this many standard deviations off the typical figure, and nothing beyond is drawn
(modelling prior: makers sort by the limits, and publish no distribution)."""


@dataclass(frozen=True, slots=True)
class Spread:
    """Limits and a typical value between them.

    Raises:
        UsageError: a figure that is not positive, or not in order.
    """

    low: float
    typical: float
    high: float

    def __post_init__(self) -> None:
        if not 0 < self.low <= self.typical <= self.high < float("inf"):
            raise UsageError(
                f"A spread must be [least, typical, most], above 0 and ascending, "
                f"not [{self.low:g}, {self.typical:g}, {self.high:g}]."
            )

    @classmethod
    def within(cls, typical: float, percent: float) -> Spread:
        """``typical`` give or take ``percent``.

        >>> Spread.within(200.0, 5.0)
        Spread(low=190.0, typical=200.0, high=210.0)
        """
        return cls(typical * (1 - percent / 100), typical, typical * (1 + percent / 100))

    def scaled(self, factor: float) -> Spread:
        """The same spread in another unit."""
        return Spread(self.low * factor, self.typical * factor, self.high * factor)

    def times(self, factor: float, least: float, most: float = math.inf) -> Spread:
        """Limits ``factor`` times as far from the typical value, between ``least`` and ``most``.

        >>> Spread(2.0, 4.0, 8.0).times(1.5, 0.5), Spread(2.0, 4.0, 8.0).times(4.0, 0.5, 15.0)
        (Spread(low=1.0, typical=4.0, high=10.0), Spread(low=0.5, typical=4.0, high=15.0))
        """
        low = self.typical - factor * (self.typical - self.low)
        high = self.typical + factor * (self.high - self.typical)
        return Spread(min(max(low, least), self.typical), self.typical, max(min(high, most), self.typical))

    def draw(self, rng: np.random.Generator) -> float:
        """One relay's figure: a normal deviate, truncated at the limits, wider on the wider side."""
        deviate = float(rng.normal())
        while abs(deviate) > TRUNCATED_AT_SD:
            deviate = float(rng.normal())
        return self.at(deviate / TRUNCATED_AT_SD)

    def at(self, place: float) -> float:
        """The figure at ``place``: -1 least, 0 typical, 1 most.

        >>> Spread(5.0, 8.0, 15.0).at(0.5)
        11.5
        """
        side = self.high - self.typical if place > 0 else self.typical - self.low
        return self.typical + place * side
