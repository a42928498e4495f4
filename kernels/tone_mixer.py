"""A tone moved to zero frequency: quadrature mixing with integrate-and-dump, one track at a time.

The dump intervals (hops) lie on an absolute grid from the first frame and each is summed by itself, so the result
does not depend on how a tape is cut into blocks.
"""

from __future__ import annotations

import math

import numpy as np
from numba import types
from numpy.typing import NDArray

from .compiled import compiled

TABLE = 1024

_FLOATS = types.Array(types.float32, 1, "C")
_READ = types.Array(types.float32, 1, "C", readonly=True)


@compiled(ahead=(_READ, _FLOATS, _FLOATS, _FLOATS, _FLOATS), fastmath=True)
def mix_and_dump(
    track: NDArray[np.float32],
    cosine: NDArray[np.float32],
    sine: NDArray[np.float32],
    in_phase: NDArray[np.float32],
    quadrature: NDArray[np.float32],
) -> None:
    """Each hop of ``track`` times ``cosine`` and ``sine`` (shape (hop,)), summed; output shape (frames // hop,)."""
    hop = cosine.size
    for number in range(in_phase.size):
        start = number * hop
        real = np.float32(0.0)
        imaginary = np.float32(0.0)
        for place in range(hop):
            sample = track[start + place]
            real += sample * cosine[place]
            imaginary += sample * sine[place]
        in_phase[number] = real
        quadrature[number] = imaginary


def baseband(track: NDArray[np.float32], tone_cycles: float, hop: int) -> NDArray[np.complex128]:
    """The sum over each hop of ``track[n] * exp(-2j*pi*tone_cycles*n)``.

    A sine of amplitude A at the tone gives hops of magnitude A * hop / 2; white noise of standard deviation s gives
    circular noise of mean square s**2 * hop, independent from hop to hop.

    Args:
        track: shape (frames,).
        tone_cycles: tone frequency over sample rate, below 0.5.
        hop: frames a hop; what is left at the end is not heard.

    Returns:
        shape (frames // hop,).
    """
    hops = track.size // hop
    turn = 2.0 * math.pi * tone_cycles * np.arange(hop)
    in_phase = np.empty(hops, np.float32)
    quadrature = np.empty(hops, np.float32)
    mix_and_dump(track, np.cos(turn).astype(np.float32), -np.sin(turn).astype(np.float32), in_phase, quadrature)
    mixed = np.empty(hops, np.complex128)
    mixed.real, mixed.imag = in_phase, quadrature
    mixed *= _turns_back(tone_cycles * hop, hops)
    return mixed


def _turns_back(cycles: float, count: int) -> NDArray[np.complex128]:
    """exp(-2j*pi*cycles*n) for n < count, from the products of two short tables."""
    # The phase is reduced to one cycle first: it grows large along a tape.
    coarse = np.exp(-2j * math.pi * np.modf(cycles * TABLE * np.arange(-(-count // TABLE)))[0])
    fine = np.exp(-2j * math.pi * np.modf(cycles * np.arange(TABLE))[0])
    turned: NDArray[np.complex128] = (coarse[:, None] * fine).ravel()[:count]
    return turned
