"""Laws tilted towards the grave: the density times exp(severity x), made a density again.

The exponential change of measure of importance sampling (F. Esscher 1932): the ratio of the densities is
exp(severity x) over its mean, so that a weight takes it back exactly.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
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
        below, within, _ = _masses(self.severity, self.low, self.high)
        return min(max(self.severity + _NORMAL.inv_cdf(below + within * (1 - rng.random())), self.low), self.high)

    def log_ratio(self, deviations: float) -> float:
        """Logarithm of the tilted density there re the plain one."""
        return self.severity * deviations - _masses(self.severity, self.low, self.high)[2]


@lru_cache(maxsize=256)
def _masses(severity: float, low: float, high: float) -> tuple[float, float, float]:
    """Of a normal number about ``severity``, below and within the limits; logarithm of the mean of the tilt."""
    below, within = _NORMAL.cdf(low - severity), _NORMAL.cdf(high - severity) - _NORMAL.cdf(low - severity)
    plain = _NORMAL.cdf(high) - _NORMAL.cdf(low)
    return below, within, math.log(within / plain) + severity**2 / 2


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
