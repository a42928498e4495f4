"""Second-order filter sections, both tracks in one loop.

The recursion is written as y[n] = -a1 y[n-1] + (everything known before), so that one multiply-add a frame is all
that has to wait for the last output. State and arithmetic are double: a section at 20 Hz has poles so near to 1 that
single precision would add noise of its own.
"""

from __future__ import annotations

import numpy as np
from numba import types
from numpy.typing import NDArray

from .compiled import compiled

_FLOATS = types.Array(types.float32, 1, "C")
_DOUBLES = types.Array(types.float64, 1, "C")
_COEFFICIENTS = types.Array(types.float64, 1, "C", readonly=True)
_SECTIONS = types.Array(types.float64, 2, "C", readonly=True)
_GAINS = types.Array(types.float32, 1, "C", readonly=True)

PIECE_FRAMES = 4 * 4096
"""A whole tape goes through in pieces of this many frames, so that each step finds the last one's in the cache."""

STATE = 8
"""Numbers of state a section: x[n-1], x[n-2], y[n-1], y[n-2] of the left track, then of the right."""


_INAUDIBLE = 1e-30
"""State below this is forgotten at the end of a piece: subnormal numbers would slow the loop down for good."""


@compiled(types.void(_FLOATS, _FLOATS, _COEFFICIENTS, _DOUBLES), fastmath={"contract", "nnan", "ninf", "nsz"})
def section(
    left: NDArray[np.float32],
    right: NDArray[np.float32],
    coefficients: NDArray[np.float64],
    state: NDArray[np.float64],
) -> None:
    """Filter both tracks in place.

    Args:
        left, right: shape (frames,).
        coefficients: b0, b1, b2, a1, a2 with a0 = 1; shape (5,).
        state: shape (8,), zeros at the start of the tape; carried on.
    """
    b0, b1, b2 = coefficients[0], coefficients[1], coefficients[2]
    a1, a2 = coefficients[3], coefficients[4]
    x1, x2, y1, y2 = state[0], state[1], state[2], state[3]
    u1, u2, v1, v2 = state[4], state[5], state[6], state[7]
    for i in range(left.size):
        x = np.float64(left[i])
        u = np.float64(right[i])
        y = (b0 * x + (b1 * x1 + b2 * x2) - a2 * y2) - a1 * y1
        v = (b0 * u + (b1 * u1 + b2 * u2) - a2 * v2) - a1 * v1
        x2 = x1
        x1 = x
        y2 = y1
        y1 = y
        u2 = u1
        u1 = u
        v2 = v1
        v1 = v
        left[i] = np.float32(y)
        right[i] = np.float32(v)
    after = (x1, x2, y1, y2, u1, u2, v1, v2)
    for k in range(STATE):
        state[k] = after[k] if abs(after[k]) > _INAUDIBLE else 0.0


@compiled(types.void(_DOUBLES))
def rest(state: NDArray[np.float64]) -> None:
    """The state of a section at the start of a tape."""
    for k in range(state.size):
        state[k] = 0.0


@compiled(types.void(_FLOATS, _FLOATS, _SECTIONS, _GAINS))
def cascade(
    left: NDArray[np.float32], right: NDArray[np.float32], sections: NDArray[np.float64], gains: NDArray[np.float32]
) -> None:
    """Filter both tracks of a whole tape in place by one section after the other, then by a gain.

    Args:
        left, right: shape (frames,).
        sections: coefficients of each, shape (sections, 5).
        gains: of left and right, shape (2,).
    """
    states = np.empty((sections.shape[0], STATE), np.float64)
    for k in range(sections.shape[0]):
        rest(states[k])
    for start in range(0, left.size, PIECE_FRAMES):
        here, there = left[start : start + PIECE_FRAMES], right[start : start + PIECE_FRAMES]
        for k in range(sections.shape[0]):
            section(here, there, sections[k], states[k])
        for i in range(here.size):
            here[i] *= gains[0]
            there[i] *= gains[1]


@compiled(types.void(_FLOATS, _FLOATS, _COEFFICIENTS))
def add_across(left: NDArray[np.float32], right: NDArray[np.float32], coefficients: NDArray[np.float64]) -> None:
    """Add to each track of a whole tape what the section makes of the other.

    Args:
        left, right: shape (frames,), changed in place.
        coefficients: shape (5,).
    """
    state = np.empty(STATE, np.float64)
    rest(state)
    heard, also_heard = np.empty(PIECE_FRAMES, np.float32), np.empty(PIECE_FRAMES, np.float32)
    for start in range(0, left.size, PIECE_FRAMES):
        here, there = left[start : start + PIECE_FRAMES], right[start : start + PIECE_FRAMES]
        for i in range(here.size):
            heard[i] = there[i]
            also_heard[i] = here[i]
        section(heard[: here.size], also_heard[: here.size], coefficients, state)
        for i in range(here.size):
            here[i] += heard[i]
            there[i] += also_heard[i]
