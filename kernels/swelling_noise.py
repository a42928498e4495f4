"""Noise through a filter, whose loudness comes and goes."""

from __future__ import annotations

import numpy as np
from numba import types
from numpy.typing import NDArray

from .compiled import compiled
from .filters import PIECE_FRAMES, STATE, rest, section
from .modulation import modulate
from .noise import BLOCK_FRAMES, add_noise

_FLOATS = types.Array(types.float32, 1, "C")
_COEFFICIENTS = types.Array(types.float64, 1, "C", readonly=True)
_LOUDNESS = types.Array(types.float32, 2, "C", readonly=True)
_WORD = types.uint64


@compiled(
    types.void(_FLOATS, _FLOATS, _WORD, _WORD, _WORD, _WORD, types.float32, _COEFFICIENTS, _LOUDNESS, types.float64)
)
def add_swelling_noise(
    left: NDArray[np.float32],
    right: NDArray[np.float32],
    key_0: np.uint64,
    key_1: np.uint64,
    upper_0: np.uint64,
    upper_1: np.uint64,
    sigma: np.float32,
    coefficients: NDArray[np.float64],
    loudness: NDArray[np.float32],
    per_frame: float,
) -> None:
    """Add it to both tracks of a whole tape, in place.

    Args:
        left, right: shape (frames,).
        key_0, key_1, upper_0, upper_1, sigma: of the white noise, as ``add_noise`` has them.
        coefficients: of the section that it goes through, shape (5,).
        loudness: of each track less one, shape (2, cells): coefficients as ``modulate`` has them.
        per_frame: cells a frame, below 1.
    """
    state = np.empty(STATE, np.float64)
    rest(state)
    all_here, all_there = np.empty(PIECE_FRAMES, np.float32), np.empty(PIECE_FRAMES, np.float32)
    for start in range(0, left.size, PIECE_FRAMES):
        # The loudness ends with the tape.
        here, there = all_here[: left.size - start], all_there[: left.size - start]
        for i in range(here.size):
            here[i] = there[i] = np.float32(0)
        add_noise(here, there, start // BLOCK_FRAMES, key_0, key_1, upper_0, upper_1, sigma)
        section(here, there, coefficients, state)
        cell = int(np.floor(start * per_frame))
        ahead = start * per_frame - cell
        modulate(here, loudness[0, cell:], per_frame, ahead)
        modulate(there, loudness[1, cell:], per_frame, ahead)
        left_piece, right_piece = left[start : start + PIECE_FRAMES], right[start : start + PIECE_FRAMES]
        for i in range(left_piece.size):
            left_piece[i] += here[i]
            right_piece[i] += there[i]
