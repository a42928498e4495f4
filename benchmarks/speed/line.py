"""Whether a cost grows along a straight line."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

STRAIGHT = "a straight line"

MOST_OFF = 0.1
"""A cost is straight if no point is further off the line than this share of the cost's range."""


@dataclass(frozen=True, slots=True)
class Line:
    """The least-squares line through some costs.

    Attributes:
        start: at size 0.
        slope: for each unit of size.
        off: how far a point is off, at the most, re the range of the costs.
    """

    start: float
    slope: float
    off: float

    @classmethod
    def through(cls, sizes: Sequence[float], costs: Sequence[float]) -> Line:
        """The line.

        >>> line = Line.through([1, 2, 4], [5.0, 8.0, 14.0])
        >>> round(line.start, 6), round(line.slope, 6), round(line.off, 6)
        (2.0, 3.0, 0.0)
        """
        x, y = np.array(sizes, np.float64), np.array(costs, np.float64)
        slope, start = np.polyfit(x, y, 1)
        off = np.abs(start + slope * x - y).max() / max(float(np.ptp(y)), 1e-30)
        return cls(float(start), float(slope), float(off))
