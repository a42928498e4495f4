"""What was measured, with its uncertainty, and what was not, with the reason.

An interval is meant to hold the true figure in 95 of 100 captures. It covers what a capture of that length leaves to
chance and the noise; what is common to all captures (a sound input's own clock, say) stands in ``method``.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

CONFIDENCE = 0.95


@dataclass(frozen=True, slots=True)
class Figure:
    """One measured number.

    Attributes:
        name: carries its unit, and the track where there are two.
        value, low, high: the figure and its 95 % interval.
        method: what was done and what the figure refers to, one line.
    """

    name: str
    value: float
    low: float
    high: float
    method: str = ""


@dataclass(frozen=True, slots=True)
class Missing:
    """A figure that the capture does not give.

    Attributes:
        name: of the figure.
        reason: completes "not measured, because ...".
    """

    name: str
    reason: str


@dataclass(frozen=True, slots=True)
class Curve:
    """A figure for each of several frequencies (or other places).

    Attributes:
        name, at: what it is and over what; both carry their units.
        places, values, lows, highs: shape (points,) each.
        method: one line.
    """

    name: str
    at: str
    places: tuple[float, ...]
    values: tuple[float, ...]
    lows: tuple[float, ...]
    highs: tuple[float, ...]
    method: str = ""


@dataclass(frozen=True, slots=True)
class Histogram:
    """How many fell between edges; ``counts`` has one entry fewer than ``edges``."""

    name: str
    edges: tuple[float, ...]
    counts: tuple[int, ...]


Finding = Figure | Missing | Curve | Histogram


def around(name: str, value: float, half: float, method: str = "") -> Figure:
    """A figure in the middle of its interval."""
    return Figure(name, value, value - half, value + half, method)


def student_t(samples: int) -> float:
    """Half width of a 95 % interval in standard errors, from ``samples`` independent readings.

    >>> round(student_t(10), 3)
    2.262
    """
    from scipy.special import stdtrit

    return float(stdtrit(max(1, samples - 1), 0.5 + CONFIDENCE / 2))


def of_blocks(name: str, readings: ArrayLike, method: str = "", floor: float = 0.0) -> Figure:
    """The mean of independent readings with Student's interval; at least +-``floor`` wide."""
    blocks = np.asarray(readings, np.float64)
    error = float(blocks.std(ddof=1)) / math.sqrt(blocks.size) if blocks.size > 1 else math.inf
    half = max(floor, student_t(blocks.size) * error) if blocks.size > 1 else floor
    mean = float(blocks.mean())
    return around(name, mean, half, method)


def of_counts(name: str, count: int, per: float, method: str = "") -> Figure:
    """A rate from a count of independent events, with the exact Poisson interval of Garwood (1936).

    >>> of_counts("a", 10, 2.0).low > 2.3 and of_counts("a", 0, 1.0).low == 0.0
    True
    """
    from scipy.special import gammaincinv

    tail = (1 - CONFIDENCE) / 2
    low = float(gammaincinv(count, tail)) if count else 0.0
    high = float(gammaincinv(count + 1, 1 - tail))
    return Figure(name, count / per, low / per, high / per, method)


def jackknife(readings: Sequence[NDArray[np.float64]] | NDArray[np.float64], whole: float) -> float:
    """Half width of the 95 % interval of a figure from its readings with one block left out each.

    Args:
        readings: the figure of all but block i, shape (blocks,).
        whole: the figure of all blocks.
    """
    left_out = np.asarray(readings, np.float64)
    count = left_out.size
    if count < 2:
        return math.inf
    return student_t(count) * math.sqrt((count - 1) / count * float(((left_out - whole) ** 2).sum()))
