"""Laws tilted towards the grave: the density times exp(severity x), made a density again.

The exponential change of measure of importance sampling (F. Esscher 1932): the ratio of the densities is
exp(severity x) over its mean, so that a weight takes it back exactly.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

_NORMAL = NormalDist()


@dataclass(frozen=True, slots=True)
class TiltedGaussian:
    """A standard normal number between ``low`` and ``high``, tilted: normal about ``severity``, between the same."""

    severity: float
    low: float
    high: float

    def drawn(self, rng: np.random.Generator) -> float:
        below, within = self._mass(self.severity)
        return min(max(self.severity + _NORMAL.inv_cdf(below + within * (1 - rng.random())), self.low), self.high)

    def log_ratio(self, deviations: float) -> float:
        """Logarithm of the tilted density there re the plain one."""
        mean = math.log(self._mass(self.severity)[1] / self._mass(0.0)[1]) + self.severity**2 / 2
        return self.severity * deviations - mean

    def _mass(self, centre: float) -> tuple[float, float]:
        below = _NORMAL.cdf(self.low - centre)
        return below, _NORMAL.cdf(self.high - centre) - below


@dataclass(frozen=True, slots=True)
class TiltedChance:
    """Something that happens with ``chance``; tilted, its odds are exp(severity) times as high."""

    severity: float
    chance: float

    def drawn(self, rng: np.random.Generator) -> bool:
        return bool(rng.random() < self.chance * math.exp(self.severity) / self._mean)

    def log_ratio(self, happened: bool) -> float:
        """Logarithm of the tilted chance of that outcome re the plain one."""
        return self.severity * happened - math.log(self._mean)

    @property
    def _mean(self) -> float:
        return 1 + self.chance * math.expm1(self.severity)
