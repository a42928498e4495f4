"""How a parameter is drawn anew for every tape and deck.

A draw always spends the generator in the same way for the same result, so that a model that does not draw today
gives the same audio when it draws zero.
"""

from __future__ import annotations

import numpy as np

MOST_DEVIATIONS = 2.5
"""Gaussian draws are truncated here: a deck worse than that would have been repaired (modelling prior)."""


def gaussian(rng: np.random.Generator) -> float:
    """A standard normal number within +-2.5, by rejection.

    >>> abs(gaussian(np.random.default_rng(1))) <= 2.5
    True
    """
    while True:
        drawn = float(rng.standard_normal())
        if abs(drawn) <= MOST_DEVIATIONS:
            return drawn


def words(rng: np.random.Generator, count: int) -> tuple[int, ...]:
    """``count`` words of 32 bits, to key a counter-based generator or a stream of its own."""
    return tuple(rng.integers(0, 2**32, size=count, dtype=np.uint64).tolist())
