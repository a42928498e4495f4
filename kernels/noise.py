"""Gaussian noise that can be addressed by its place on the tape.

Uniform words come from Philox4x32-10 (Salmon, Moraes, Dror, Shaw, "Parallel random numbers: as easy as 1, 2, 3",
SC 2011): a counter and a key in, four words out, no state. Two words make one stereo frame by the Box-Muller
transform, its logarithm, sine and cosine by polynomials (a call to the C library would cost more than all the rest).

The frames of block b of the 4,096-frame grid are the counters 2048 b to 2048 b + 2047: words 0 and 1 of counter
2048 b + i are frame i of the block, words 2 and 3 frame 2048 + i. So noise is the same whatever is asked before it.
"""

from __future__ import annotations

import numpy as np
from numba import types
from numpy.typing import NDArray

from .compiled import compiled

BLOCK_FRAMES = 4096
_HALF = BLOCK_FRAMES // 2

_MULTIPLIER_0 = np.uint64(0xD2511F53)
_MULTIPLIER_1 = np.uint64(0xCD9E8D57)
_WEYL_0 = np.uint64(0x9E3779B9)
_WEYL_1 = np.uint64(0xBB67AE85)
_LOW_WORD = np.uint64(0xFFFFFFFF)
_SHIFT = np.uint64(32)

# Least largest error (Lawson's iteration at 2,001 Chebyshev nodes): ln(1 + t) / t for sqrt(1/2) <= 1 + t <= sqrt(2),
# within 1.2e-6; sin(pi u / 2) / u and cos(pi u / 2) for |u| <= 1, within 1.2e-6 and 5e-8.
_LOG = tuple(
    np.float32(c) for c in (1.00000088, -0.500013982, 0.333160286, -0.248967985, 0.204547766, -0.187826776, 0.122108276)
)
_SIN = tuple(np.float32(c) for c in (1.57079515, -0.645925999, 0.0795007245, -0.00437105742))
_COS = tuple(np.float32(c) for c in (0.999999954, -1.23369822, 0.253650754, -0.0208106397, 0.000858196045))

_LN_2 = np.float32(0.693147181)
_ONE = np.float32(1)
_TWO = np.float32(2)
_MINUS_TWO = np.float32(-2)
_PER_32_BITS = np.float32(2.0**-32)
_PER_31_BITS = np.float32(2.0**-31)
_MIDDLE_OF_STEP = np.float32(2.0**-33)
_MANTISSA = np.int32(0x007FFFFF)
_SQRT_HALF_BITS = np.int32(0x3F3504F3)
_MANTISSA_BITS = np.int32(23)

_FLOATS = types.Array(types.float32, 1, "C")
_WORDS = types.Array(types.uint32, 1, "C")


@compiled(
    types.void(_WORDS, _WORDS, types.uint64, types.uint64, types.uint64, types.uint64, types.uint64), fastmath=True
)
def philox_block(
    first: NDArray[np.uint32],
    second: NDArray[np.uint32],
    block: np.uint64,
    key_0: np.uint64,
    key_1: np.uint64,
    upper_0: np.uint64,
    upper_1: np.uint64,
) -> None:
    """Fill ``first`` and ``second``, shape (4096,), with the words of ``block``.

    Args:
        first: word 0 of each counter, then word 2 of each.
        second: word 1 of each counter, then word 3 of each.
        block: which block of the grid.
        key_0, key_1: the key, 32 bits each.
        upper_0, upper_1: the counter's words 2 and 3; words 0 and 1 hold the place on the tape.
    """
    start = block * np.uint64(_HALF)
    for i in range(_HALF):
        place = start + np.uint64(i)
        c0 = place & _LOW_WORD
        c1 = place >> _SHIFT
        c2 = upper_0
        c3 = upper_1
        k0 = key_0
        k1 = key_1
        for _ in range(10):
            p0 = _MULTIPLIER_0 * c0
            p1 = _MULTIPLIER_1 * c2
            c0 = (p1 >> _SHIFT) ^ c1 ^ k0
            c1 = p1 & _LOW_WORD
            c2 = (p0 >> _SHIFT) ^ c3 ^ k1
            c3 = p0 & _LOW_WORD
            k0 = (k0 + _WEYL_0) & _LOW_WORD
            k1 = (k1 + _WEYL_1) & _LOW_WORD
        first[i] = np.uint32(c0)
        second[i] = np.uint32(c1)
        first[i + _HALF] = np.uint32(c2)
        second[i + _HALF] = np.uint32(c3)


@compiled(
    types.void(_FLOATS, _FLOATS, types.int64, types.uint64, types.uint64, types.uint64, types.uint64, types.float32),
    fastmath=True,
)
def add_noise(
    left: NDArray[np.float32],
    right: NDArray[np.float32],
    first_block: int,
    key_0: np.uint64,
    key_1: np.uint64,
    upper_0: np.uint64,
    upper_1: np.uint64,
    sigma: np.float32,
) -> None:
    """Add white Gaussian noise of standard deviation ``sigma`` to both tracks, independent between them.

    Args:
        left, right: shape (frames,), changed in place; the first frame is the first of ``first_block``.
        first_block: where on the 4,096-frame grid the rows start.
        key_0, key_1, upper_0, upper_1: 128 bits that name the tape, as four 32-bit words.
        sigma: in units of full scale.
    """
    first = np.empty(BLOCK_FRAMES, np.uint32)
    second = np.empty(BLOCK_FRAMES, np.uint32)
    uniform = np.empty(BLOCK_FRAMES, np.float32)
    pattern = uniform.view(np.int32)
    here = np.empty(BLOCK_FRAMES, np.float32)
    there = np.empty(BLOCK_FRAMES, np.float32)
    frames = left.size
    for start in range(0, frames, BLOCK_FRAMES):
        block = np.uint64(first_block + start // BLOCK_FRAMES)
        philox_block(first, second, block, key_0, key_1, upper_0, upper_1)
        for i in range(BLOCK_FRAMES):
            uniform[i] = np.float32(first[i]) * _PER_32_BITS + _MIDDLE_OF_STEP
        for i in range(BLOCK_FRAMES):
            above = pattern[i] - _SQRT_HALF_BITS
            exponent = above >> _MANTISSA_BITS
            pattern[i] = (above & _MANTISSA) + _SQRT_HALF_BITS
            here[i] = np.float32(exponent)
        for i in range(BLOCK_FRAMES):
            t = uniform[i] - _ONE
            log = _LOG[6]
            log = log * t + _LOG[5]
            log = log * t + _LOG[4]
            log = log * t + _LOG[3]
            log = log * t + _LOG[2]
            log = log * t + _LOG[1]
            log = log * t + _LOG[0]
            log = log * t + here[i] * _LN_2
            radius = sigma * np.sqrt(max(_MINUS_TWO * log, np.float32(0)))
            u = np.float32(np.int32(second[i])) * _PER_31_BITS
            v = u * u
            sine = u * (((_SIN[3] * v + _SIN[2]) * v + _SIN[1]) * v + _SIN[0])
            cosine = (((_COS[4] * v + _COS[3]) * v + _COS[2]) * v + _COS[1]) * v + _COS[0]
            here[i] = radius * (_TWO * sine * cosine)
            there[i] = radius * (_ONE - _TWO * sine * sine)
        for i in range(min(BLOCK_FRAMES, frames - start)):
            left[start + i] += here[i]
            right[start + i] += there[i]
