"""Two echoes of a sound, one before it and one after, at a distance that changes slowly."""

from __future__ import annotations

import numpy as np
from numba import types
from numpy.typing import NDArray

from .compiled import compiled
from .filters import PIECE_FRAMES, STATE, rest, section

STEP_FRAMES = 256
"""The distance is given this often; it must change by less than half a frame in between."""

_PER_STEP = np.float32(1 / STEP_FRAMES)
_FLOATS = types.Array(types.float32, 1, "C")
_DOUBLES = types.Array(types.float64, 1, "C", readonly=True)


@compiled(types.void(_FLOATS, types.int64, _FLOATS, _DOUBLES), fastmath=True)
def echoes(row: NDArray[np.float32], first: int, out: NDArray[np.float32], distances: NDArray[np.float64]) -> None:
    """Write the sum of both echoes; beyond the row there is silence.

    Args:
        row: shape (frames,).
        first: the frame of the row that the first output stands for.
        out: shape (outputs,).
        distances: in frames, at the outputs 0, 256 ...; one more than the steps that the outputs need.
    """
    for step in range((out.size + STEP_FRAMES - 1) // STEP_FRAMES):
        begin = step * STEP_FRAMES
        piece = out[begin : begin + STEP_FRAMES]
        whole = np.int64(distances[step])
        part = np.float32(distances[step] - whole)
        change = np.float32(distances[step + 1] - distances[step]) * _PER_STEP
        for i in range(piece.size):
            piece[i] = np.float32(0)
        ahead = first + begin + whole
        if ahead + piece.size < row.size:
            sooner, later = row[ahead : ahead + piece.size], row[ahead + 1 : ahead + 1 + piece.size]
            for i in range(piece.size):
                piece[i] += sooner[i] + (part + change * np.float32(i)) * (later[i] - sooner[i])
        behind = first + begin - whole
        if behind >= 1:
            later, sooner = row[behind : behind + piece.size], row[behind - 1 : behind - 1 + piece.size]
            for i in range(later.size):  # fewer than asked for behind the end of the row
                piece[i] += later[i] + (part + change * np.float32(i)) * (sooner[i] - later[i])


@compiled(types.void(_FLOATS, _FLOATS, _DOUBLES, _DOUBLES))
def add_echoes(
    left: NDArray[np.float32],
    right: NDArray[np.float32],
    distances: NDArray[np.float64],
    coefficients: NDArray[np.float64],
) -> None:
    """Add to both tracks of a whole tape, in place, what a section makes of their echoes.

    What stands one distance back has its echoes already when it is heard: theirs are as far below them again.

    Args:
        left, right: shape (frames,).
        distances: in frames, at the frames 0, 256 ...; enough of them for whole pieces.
        coefficients: of the section, shape (5,).
    """
    state = np.empty(STATE, np.float64)
    rest(state)
    here, there = np.empty(PIECE_FRAMES, np.float32), np.empty(PIECE_FRAMES, np.float32)
    for start in range(0, left.size, PIECE_FRAMES):
        step = start // STEP_FRAMES
        piece_distances = distances[step : step + PIECE_FRAMES // STEP_FRAMES + 1]
        echoes(left, start, here, piece_distances)
        echoes(right, start, there, piece_distances)
        section(here, there, coefficients, state)
        left_piece, right_piece = left[start : start + PIECE_FRAMES], right[start : start + PIECE_FRAMES]
        for i in range(left_piece.size):
            left_piece[i] += here[i]
            right_piece[i] += there[i]
