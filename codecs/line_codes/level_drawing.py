"""Drawing two levels: a row of them, one after the other, joined by edges of raised sine."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from ...contracts.bits import Bits
from ...contracts.signal import Signal

Levels = NDArray[np.float32]

_EDGES = 1 << 13
"""Drawn in one go: few enough to stay in the processor's cache."""


def recorded(
    bits: Bits, tracks: str, draw: Callable[[NDArray[np.float32], Bits], None], frames: int, sample_rate_hz: int
) -> Signal:
    """A recording of ``frames`` with ``bits`` on the ``tracks`` asked for: same, left, right or split.

    Args:
        draw: fills one track with the waveform of the bits given.
    """
    samples = np.zeros((2, frames), np.float32)
    if tracks == "same":
        draw(samples[0], bits)
        samples[1] = samples[0]
    else:
        for track, carried in zip(samples, carried_by(bits, tracks), strict=True):
            if carried is not None:
                draw(track, carried)
    return Signal.owning(samples, sample_rate_hz)


def carried_by(bits: Bits, tracks: str) -> tuple[Bits | None, Bits | None]:
    """Which of ``bits`` the left and the right track carry; None for a track that is silent."""
    if tracks == "split":
        even, odd = bits[0::2], bits[1::2]
        return even, np.concatenate((odd, np.zeros(even.size - odd.size, np.uint8)))
    return (bits if tracks in ("same", "left") else None), (bits if tracks in ("same", "right") else None)


def levels_on(bits: Bits, tracks: str, levels: Callable[[Bits], Levels]) -> tuple[NDArray[np.int8], NDArray[np.int8]]:
    """The signs of ``levels`` of what each track carries, with none for a track that is silent."""
    silent = np.zeros(0, np.int8)
    left, right = (
        silent if carried is None else np.sign(levels(carried)).astype(np.int8) for carried in carried_by(bits, tracks)
    )
    return left, right


def draw_levels(track: NDArray[np.float32], levels: Levels, length: float, edge_share: float) -> None:
    """Fill ``track`` from its first frame with ``levels``, silence before and after.

    Args:
        length: of a level, in frames.
        edge_share: length of an edge as a share of that; a frame at least.
    """
    padded = np.concatenate(([0.0], levels, [0.0])).astype(np.float32)
    a_frame = 1 / length
    width = min(max(edge_share, a_frame), 1.0)
    firsts = np.clip(np.ceil(np.arange(levels.size + 1) * length - 0.5), 0, track.size).astype(np.int64)
    track[: firsts[-1]] = np.repeat(padded[1:-1], np.diff(firsts))
    track[firsts[-1] :] = 0.0
    # Whatever frame lies on the border of two levels lies on an edge, which is drawn next.
    turning = np.flatnonzero(padded[1:] != padded[:-1])
    reaching = np.arange(math.ceil(width * length) + 2)
    for begin in range(0, turning.size, _EDGES):
        edge = turning[begin : begin + _EDGES, None]
        frames = np.floor((edge - width / 2) * length - 0.5).astype(np.int64) + reaching
        off = (frames + 0.5) * a_frame - edge
        inside = (np.abs(off) < width / 2) & (frames >= 0) & (frames < track.size)
        before, after = padded[edge], padded[edge + 1]
        drawn = (before + after) / 2 + (after - before) / 2 * np.sin(np.pi * np.clip(off / width, -0.5, 0.5))
        track[frames[inside]] = drawn[inside]
