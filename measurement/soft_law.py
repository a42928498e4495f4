"""A soft, odd law of saturation, the hyperbolic tangent (a common model of tape): what it makes of a sine.

Levels are in dB re the limit: the output that a sine nears when it is driven ever harder.
"""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

_GRID_DB = np.linspace(-60.0, 40.0, 1001)
_LIMIT = 4 / np.pi


@cache
def _harmonics() -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """First and third harmonic on the grid; the limit is that of a square wave of height 1."""
    angles = np.pi * (np.arange(256) + 0.5) / 512
    bent = np.tanh(_LIMIT * 10 ** (_GRID_DB / 20)[:, None] * np.sin(angles))
    first, third = (2 * (bent * np.sin(n * angles)).mean(axis=1) for n in (1, 3))
    return np.asarray(first), np.asarray(np.abs(third))


def output_db(wanted_db: ArrayLike) -> NDArray[np.float64]:
    """Level of the fundamental that comes out, where ``wanted_db`` would come out of a tape without a limit.

    >>> abs(float(output_db(-40.0)) + 40) < 0.01 and abs(float(output_db(39.0))) < 0.01
    True
    """
    first, _ = _harmonics()
    return np.asarray(np.interp(np.asarray(wanted_db, np.float64), _GRID_DB, 20 * np.log10(first / _LIMIT)))


def third_db(wanted_db: ArrayLike) -> NDArray[np.float64]:
    """Third harmonic re the fundamental in dB: 2 dB a dB as long as it is small."""
    first, third = _harmonics()
    return np.asarray(np.interp(np.asarray(wanted_db, np.float64), _GRID_DB, 20 * np.log10(third / first)))


def wanted_for_third_db(share_db: float) -> float:
    """The level at which the third harmonic is ``share_db`` re the fundamental."""
    first, third = _harmonics()
    return float(np.interp(share_db, 20 * np.log10(third / first), _GRID_DB))
