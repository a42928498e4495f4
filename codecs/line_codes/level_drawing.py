"""Drawing two levels: a row of them, one after the other, joined by edges of raised sine."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from ...contracts.bits import Bits
from ...contracts.signal import Signal

Levels = NDArray[np.float32]

_EDGES = 1 << 13
"""Drawn in one go: few enough to stay in the processor's cache."""

_BLOCK = 1 << 15
"""Frames copied in one go, likewise."""

_IN_A_ROW = (4, 2, 1)
"""Edges copied as one, the most that fit: each row of five levels is a number of one byte, a table stays small."""

_MOST_LEVELS = 64
"""After so many levels the frames must lie on them as before, for edges to be copied."""

_NO_SHIFT = 1e-6
"""Frames by which a copied edge may be off."""


def recorded(
    bits: Bits, tracks: str, draw: Callable[[NDArray[np.float32], Bits], None], frames: int, sample_rate_hz: int
) -> Signal:
    """A recording of ``frames`` with ``bits`` on the ``tracks`` asked for: same, left, right or split.

    Args:
        draw: fills the whole of one track with the waveform of the bits given, within full scale, and silence.
    """
    samples = np.empty((2, frames), np.float32)
    if tracks == "same":
        draw(samples[0], bits)
        samples[1] = samples[0]
    else:
        for track, carried in zip(samples, carried_by(bits, tracks), strict=True):
            if carried is None:
                track[:] = 0.0
            else:
                draw(track, carried)
    return Signal.owning(samples, sample_rate_hz, known_peak=1.0)


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
    period = Fraction(length).limit_denominator(_MOST_LEVELS)
    low, high = float(levels.min(initial=0.0)), float(levels.max(initial=0.0))
    regular = abs(float(period) - length) * (levels.size + 1) < _NO_SHIFT and period.numerator <= _BLOCK
    if regular and bool(((levels == low) | (levels == high)).all()):
        _copy_levels(track, levels, period, (low, 0.0, high), min(max(edge_share, 1 / length), 1.0))
    else:
        _draw_edges(track, levels, length, edge_share)


def _copy_levels(
    track: NDArray[np.float32], levels: Levels, period: Fraction, values: tuple[float, float, float], width: float
) -> None:
    """``draw_levels`` where the frames lie alike on the levels after a few of them: each edge drawn once and copied.

    Args:
        period: frames a level: as many frames as the numerator hold as many levels as the denominator.
        values: the lowest level, silence, the highest.
        width: of an edge, as a share of a level.
    """
    frames, edges = period.numerator, period.denominator
    # Each edge reaches from the middle of the level before it to the middle of the one after it.
    starts = [math.ceil((edge - Fraction(1, 2)) * period - Fraction(1, 2)) for edge in range(edges + 1)]
    before, after = (np.repeat(values, 3)[:, None], np.tile(values, 3)[:, None])
    single = []
    for edge, (first, last) in enumerate(itertools.pairwise(starts)):
        off = (np.arange(first, last) + 0.5) / float(period) - edge
        turn = np.sin(np.pi * np.clip(off / width, -0.5, 0.5))
        single.append(((before + after) / 2 + (after - before) / 2 * turn).astype(np.float32))
    # Several edges in a row are one shape for each row of levels that they join, written in threes.
    row = next(many for many in _IN_A_ROW if edges % many == 0)
    digits = np.arange(3 ** (row + 1)) // 3 ** np.arange(row, -1, -1)[:, None] % 3
    joined = 3 * digits[:-1] + digits[1:]
    shapes = [
        np.concatenate([shape[pair] for shape, pair in zip(single[edge : edge + row], joined, strict=True)], axis=1)
        for edge in range(0, edges, row)
    ]
    blocks = -(-(levels.size + 1) // edges)
    kinds = np.ones(blocks * edges + 1, np.uint8)
    kinds[1 : levels.size + 1] = 2 * (levels == values[2])
    rows = kinds[row::row].copy()
    for place in range(row):
        rows += np.uint8(3 ** (row - place)) * kinds[place:-1:row]
    rows = np.ascontiguousarray(rows.reshape(blocks, -1).T)
    at_once = max(1, _BLOCK // frames)
    for block in range(0, blocks, at_once):
        some = min(at_once, blocks - block)
        begin = starts[0] + block * frames
        end = begin + some * frames
        within = begin >= 0 and end <= track.size
        drawn = (track[begin:end] if within else np.empty(some * frames, np.float32)).reshape(some, frames)
        for number, shape in enumerate(shapes):
            first = starts[number * row] - starts[0]
            drawn[:, first : first + shape.shape[1]] = shape.take(rows[number, block : block + some], axis=0)
        if not within:
            into = track[max(begin, 0) : end]
            into[:] = drawn.ravel()[max(-begin, 0) :][: into.size]
    track[starts[0] + blocks * frames :] = 0.0


def _draw_edges(track: NDArray[np.float32], levels: Levels, length: float, edge_share: float) -> None:
    """``draw_levels`` of any length: levels first, then the edges between them."""
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
