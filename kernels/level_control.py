"""Automatic level control: a peak detector that rises fast and falls slowly, and the gain that it sets."""

from __future__ import annotations

import numpy as np
from numba import types
from numpy.typing import NDArray

from .compiled import compiled

BLOCK_FRAMES = 4096
_FLOATS = types.Array(types.float32, 1, "C")


@compiled(
    types.void(
        _FLOATS, _FLOATS, types.float32, types.float32, types.float32, types.float32, types.float32, types.float32
    ),
    fastmath=True,
)
def control(
    left: NDArray[np.float32],
    right: NDArray[np.float32],
    target: np.float32,
    attack: np.float32,
    decay: np.float32,
    least_gain: np.float32,
    most_gain: np.float32,
    level: np.float32,
) -> None:
    """Turn both tracks up or down together, in place.

    Args:
        left, right: shape (frames,).
        target: the peak that the gain aims at.
        attack: share of the way to a higher peak, a frame.
        decay: factor by which the detector falls, a frame.
        least_gain, most_gain: the gain stays between.
        level: of the detector at the start.
    """
    levels = np.empty(BLOCK_FRAMES, np.float32)
    floor = target / most_gain
    for start in range(0, left.size, BLOCK_FRAMES):
        here = left[start : start + BLOCK_FRAMES]
        there = right[start : start + BLOCK_FRAMES]
        for i in range(here.size):
            levels[i] = max(abs(here[i]), abs(there[i]))
        for i in range(here.size):
            level = max(level * decay, level + attack * (levels[i] - level))
            level = max(level, floor)
            levels[i] = level
        for i in range(here.size):
            gain = max(target / levels[i], least_gain)
            here[i] *= gain
            there[i] *= gain
