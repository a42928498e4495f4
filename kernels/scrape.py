"""A shift of the sound to and fro by far less than a frame: its slope times the shift."""

from __future__ import annotations

import numpy as np
from numba import types
from numpy.typing import NDArray

from .compiled import compiled
from .modulation import modulate

_FLOATS = types.Array(types.float32, 1, "C")
_READ = types.Array(types.float32, 1, "C", readonly=True)
_EIGHT = np.float32(8)
_NOTHING = np.float32(0)


@compiled(types.void(_FLOATS, _FLOATS, _READ, _READ, types.float64))
def scrape(
    left: NDArray[np.float32],
    right: NDArray[np.float32],
    loop: NDArray[np.float32],
    swells: NDArray[np.float32],
    per_frame: float,
) -> None:
    """Shift both tracks of a whole tape alike, in place; beyond its ends there is silence.

    Args:
        left, right: shape (frames,).
        loop: a twelfth of the shift in frames, over and over again; shape (loop frames,), at least 2.
        swells: its loudness less one, coefficients as ``modulate`` has them.
        per_frame: cells of the swells a frame, below 1.
    """
    around = np.empty((2, loop.size + 4), np.float32)
    for i in range(loop.size + 4):
        around[0, i] = around[1, i] = _NOTHING
    whole = np.empty(loop.size, np.float32)
    for start in range(0, left.size, loop.size):
        # The swells end with the tape.
        shift = whole[: left.size - start]
        for i in range(shift.size):
            shift[i] = loop[i]
        cell = int(np.floor(start * per_frame))
        modulate(shift, swells[cell:], per_frame, start * per_frame - cell)
        for track in range(2):
            row = left if track == 0 else right
            heard = around[track]
            heard[0], heard[1] = heard[loop.size], heard[loop.size + 1]
            known = row[start : start + loop.size + 2]
            ahead = heard[2:]
            for i in range(known.size):
                ahead[i] = known[i]
            for i in range(known.size, ahead.size):
                ahead[i] = _NOTHING
            piece = row[start : start + loop.size]
            before, late, soon, after = heard, heard[1:], heard[3:], heard[4:]
            # The slope from five points: 2 % low at 6.5 kHz.
            for i in range(piece.size):
                piece[i] += ((soon[i] - late[i]) * _EIGHT - after[i] + before[i]) * shift[i]
