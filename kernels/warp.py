"""Reading a tape at a place that is not a whole frame: eight taps whose weights are polynomials of the fraction.

The read position is given at knots some frames apart, with its slope; between them it is the cubic through both. Over
a run in which the whole part of the position advances by one a frame, neighbouring outputs read neighbouring inputs,
so the weights are evaluated along the run and no input is gathered one by one.

Places are unsigned wherever a loop must not ask whether they count from the end: only then is it vectorised.

A place that stays as far from each output takes the same eight weights all along: ``shift`` reads with those.

Every block of the 4,096-frame grid is computed whole, from a window with zeros beyond the ends of the tape: where
the tape ends cannot change a frame that reads before it.
"""

from __future__ import annotations

from functools import cache

import numpy as np
from numba import types
from numpy.typing import NDArray

from .compiled import compiled

BLOCK_FRAMES = 4096
REACH = 4
"""A frame reads at most this many frames ahead of its position."""

_MARGIN = 16
_STRIDE = 8
_HALF = np.float32(0.5)
_NOTHING = np.float32(0)
_1, _2, _3, _4, _5, _6, _7 = (np.uint64(n) for n in range(1, 8))
_FLOATS = types.Array(types.float32, 1, "C")
_READ = types.Array(types.float32, 1, "C", readonly=True)
_DOUBLES = types.Array(types.float64, 1, "C", readonly=True)
_TABLE = types.Array(types.float32, 2, "C", readonly=True)

DESIGN_BAND = 0.25
"""Up to here, in cycles a frame, the weights approximate the ideal delay: 11 kHz at 44.1 kHz."""


@cache
def weights() -> NDArray[np.float32]:
    """Polynomials of the tap weights, shape (4, 6): float32, read-only.

    Row k holds the coefficients, lowest power first, of the weight of tap 3 - k (before the position) as a function
    of v = fraction - 1/2; the weight of its mirror tap 4 + k is the same function of -v. They minimise the mean square
    error of the delay exp(i w fraction) over all fractions and over frequencies up to ``DESIGN_BAND``.
    """
    frequencies = 2 * np.pi * DESIGN_BAND * (np.arange(64) + 0.5) / 64
    fractions = (np.arange(32) + 0.5) / 32 - 0.5
    w, v = (axis.ravel() for axis in np.meshgrid(frequencies, fractions, indexing="ij"))
    columns = []
    for k in range(4):
        behind = np.exp(-1j * w * (k + 0.5 + v))
        ahead = np.exp(1j * w * (k + 0.5 - v))
        columns += [behind * v**power + ahead * (-v) ** power for power in range(6)]
    matrix = np.stack(columns, axis=1)
    both = np.concatenate((matrix.real, matrix.imag))
    wanted = np.concatenate((np.ones_like(w), np.zeros_like(w)))
    table: NDArray[np.float32] = np.linalg.lstsq(both, wanted, rcond=None)[0].reshape(4, 6).astype(np.float32)
    table.flags.writeable = False
    return table


@compiled(types.void(_READ, _READ, _FLOATS, _FLOATS, _DOUBLES, _DOUBLES, types.int64, _TABLE), fastmath=True)
def warp(
    left: NDArray[np.float32],
    right: NDArray[np.float32],
    left_out: NDArray[np.float32],
    right_out: NDArray[np.float32],
    positions: NDArray[np.float64],
    slopes: NDArray[np.float64],
    knot_frames: int,
    table: NDArray[np.float32],
) -> None:
    """Write what is read at the given positions.

    Args:
        left, right: the tape, shape (frames,); beyond it there is silence.
        left_out, right_out: shape (outputs,).
        positions: where the outputs 0, ``knot_frames``, 2 ``knot_frames`` ... read, in frames of the tape,
            increasing; shape (knots,), enough knots to close the last block.
        slopes: frames of the tape an output, at the same places.
        knot_frames: a power of two up to 4,096.
        table: ``weights()``.
    """
    a0, a1, a2, a3, a4, a5 = table[0, 0], table[0, 1], table[0, 2], table[0, 3], table[0, 4], table[0, 5]
    b0, b1, b2, b3, b4, b5 = table[1, 0], table[1, 1], table[1, 2], table[1, 3], table[1, 4], table[1, 5]
    c0, c1, c2, c3, c4, c5 = table[2, 0], table[2, 1], table[2, 2], table[2, 3], table[2, 4], table[2, 5]
    d0, d1, d2, d3, d4, d5 = table[3, 0], table[3, 1], table[3, 2], table[3, 3], table[3, 4], table[3, 5]
    knots_per_block = BLOCK_FRAMES // knot_frames
    per_knot = 1.0 / knot_frames
    farthest = 0.0
    for k in range(0, positions.size - knots_per_block, knots_per_block):
        farthest = max(farthest, positions[k + knots_per_block] - positions[k])
    window_frames = np.int64(farthest) + _MARGIN
    wide = np.empty(window_frames, np.float32)
    wider = np.empty(window_frames, np.float32)
    here = np.empty(BLOCK_FRAMES, np.float32)
    there = np.empty(BLOCK_FRAMES, np.float32)
    fraction = np.empty(BLOCK_FRAMES, np.float32)
    lag = np.empty(BLOCK_FRAMES, np.int32)
    frames = left.size
    outputs = left_out.size
    for start in range(0, outputs, BLOCK_FRAMES):
        knot = start // knot_frames
        first = np.int64(np.floor(positions[knot])) - 7
        taped = min(max(np.int64(0), -first), window_frames)
        blank = max(taped, min(window_frames, frames - first))
        for i in range(taped):
            wide[i] = wider[i] = _NOTHING
        heard = left[first + taped : first + blank]
        also_heard = right[first + taped : first + blank]
        for i in range(blank - taped):
            wide[np.uint64(taped + i)] = heard[i]
            wider[np.uint64(taped + i)] = also_heard[i]
        for i in range(blank, window_frames):
            wide[i] = wider[i] = _NOTHING
        for k in range(knots_per_block):
            p0 = positions[knot + k] - first
            rise = positions[knot + k + 1] - first - p0
            s0 = slopes[knot + k] * knot_frames
            s1 = slopes[knot + k + 1] * knot_frames
            q2 = 3.0 * rise - 2.0 * s0 - s1
            q3 = s0 + s1 - 2.0 * rise
            place = np.uint64(k * knot_frames)
            for i in range(knot_frames):
                u = i * per_knot
                p = p0 + u * (s0 + u * (q2 + u * q3))
                whole = np.int32(p)
                fraction[place + np.uint64(i)] = np.float32(p - whole) - _HALF
                lag[place + np.uint64(i)] = whole - np.int32(3) - np.int32(k * knot_frames + i)
        run = 0
        while run < BLOCK_FRAMES:
            shift = lag[run]
            end = run + 1
            while end + _STRIDE <= BLOCK_FRAMES:
                changes = np.int32(0)
                for i in range(_STRIDE):
                    changes |= lag[np.uint64(end + i)] ^ shift
                if changes != 0:
                    break
                end += _STRIDE
            while end < BLOCK_FRAMES and lag[end] == shift:
                end += 1
            for i in range(run, end):
                at = np.uint64(i)
                v = fraction[at]
                vv = v * v
                tap = np.uint64(i + shift)
                even = (a4 * vv + a2) * vv + a0
                odd = ((a5 * vv + a3) * vv + a1) * v
                behind = even + odd
                ahead = even - odd
                total = behind * wide[tap + _3] + ahead * wide[tap + _4]
                other = behind * wider[tap + _3] + ahead * wider[tap + _4]
                even = (b4 * vv + b2) * vv + b0
                odd = ((b5 * vv + b3) * vv + b1) * v
                behind = even + odd
                ahead = even - odd
                total += behind * wide[tap + _2] + ahead * wide[tap + _5]
                other += behind * wider[tap + _2] + ahead * wider[tap + _5]
                even = (c4 * vv + c2) * vv + c0
                odd = ((c5 * vv + c3) * vv + c1) * v
                behind = even + odd
                ahead = even - odd
                total += behind * wide[tap + _1] + ahead * wide[tap + _6]
                other += behind * wider[tap + _1] + ahead * wider[tap + _6]
                even = (d4 * vv + d2) * vv + d0
                odd = ((d5 * vv + d3) * vv + d1) * v
                behind = even + odd
                ahead = even - odd
                total += behind * wide[tap] + ahead * wide[tap + _7]
                other += behind * wider[tap] + ahead * wider[tap + _7]
                here[at] = total
                there[at] = other
            run = end
        for i in range(min(BLOCK_FRAMES, outputs - start)):
            left_out[start + i] = here[i]
            right_out[start + i] = there[i]


def taps(late: float) -> tuple[int, NDArray[np.float32]]:
    """What ``shift`` needs so that output n is read at n - ``late``, just as ``warp`` reads it.

    Returns:
        how far from n the first of the eight frames is, and their weights, shape (8,): float32, read-only.
    """
    whole = int(np.floor(-late))
    impulse, out = np.zeros(BLOCK_FRAMES, np.float32), np.empty((2, BLOCK_FRAMES), np.float32)
    impulse[BLOCK_FRAMES // 2] = 1
    impulse.flags.writeable = False
    positions = np.array([0.0, BLOCK_FRAMES]) + (-late - whole)
    warp(impulse, impulse, out[0], out[1], positions, np.ones(2), BLOCK_FRAMES, weights())
    found = out[1, BLOCK_FRAMES // 2 + 3 - np.arange(8)]
    found.flags.writeable = False
    return whole - 3, found


@compiled(types.void(_READ, _FLOATS, _READ), fastmath={"contract"})
def shift(tape: NDArray[np.float32], out: NDArray[np.float32], weights: NDArray[np.float32]) -> None:
    """Write the weighted sum of eight frames after the other, in the order in which ``warp`` sums them.

    Args:
        tape: shape (outputs + 7,) at least.
        out: shape (outputs,).
        weights: of frames n to n + 7 in output n, shape (8,).
    """
    a, b, c, d = tape, tape[1:], tape[2:], tape[3:]
    e, f, g, h = tape[4:], tape[5:], tape[6:], tape[7:]
    for i in range(out.size):
        total = weights[3] * d[i]
        total = weights[4] * e[i] + total
        total = weights[2] * c[i] + total
        total = weights[5] * f[i] + total
        total = weights[1] * b[i] + total
        total = weights[6] * g[i] + total
        total = weights[0] * a[i] + total
        out[i] = weights[7] * h[i] + total
