"""Dropouts: where a carrier is weaker than just before and after, and what that says of the tape."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .skew import TAPE_SPEED_MM_PER_S

SPACING_DB_PER_WAVELENGTH = 54.575
"""20 log10(e) 2 pi: R. L. Wallace, BSTJ 30 (1951), from memory; the constant is exact arithmetic."""

LEAST_LIFT_UM = 0.83
"""What counts as a dropout: 6 dB at 6.3 kHz (common practice for the 6 dB)."""

HALF_WIDTH_HZ = 1200.0
"""Between the two carriers there is room for this: a dropout of a millisecond is followed."""

SERIES_HZ = 1000.0
MISSING_DB = 20.0
"""Missing oxide costs more than this at all frequencies (common practice)."""

_REFERENCE_S = 1.0
_BRIDGE_S = 0.003
_SHORTEST_S = 0.0015
_SAME_SHARE = 0.75


@dataclass(frozen=True, slots=True)
class Loss:
    """One dropout on one track.

    Attributes:
        start_s: on the capture, at half the depth in dB.
        length_s: between the half-depth points.
        depth_db: at the carrier ``carrier_hz``.
        lift_um: lift of the tape that would make it; None where oxide is missing.
        track: 0 or 1.
        carrier_hz: the frequency that the depth refers to.
    """

    start_s: float
    length_s: float
    depth_db: float
    lift_um: float | None
    track: int
    carrier_hz: float

    @property
    def end_s(self) -> float:
        """Where half the depth is left again."""
        return self.start_s + self.length_s


@dataclass(frozen=True, slots=True, eq=False)
class LossSeries:
    """Loss of a carrier against its surroundings in dB, a thousand times a second; shape (readings,)."""

    db: NDArray[np.float32]
    carrier_hz: float
    start_s: float


def spacing_loss_db(lift_um: float, frequency_hz: float) -> float:
    """What a gap between head and tape takes off a tone.

    >>> round(spacing_loss_db(1.0, 10_000.0), 2)
    11.47
    """
    return SPACING_DB_PER_WAVELENGTH * lift_um * frequency_hz / (1000 * TAPE_SPEED_MM_PER_S)


def loss_series(values: NDArray[np.complex128], rate_hz: float, carrier_hz: float, start_s: float) -> LossSeries:
    """The loss of a carrier re its running median over a second."""
    every = max(1, round(rate_hz / SERIES_HZ))
    whole = values.size // every * every
    power = (np.abs(values[:whole]) ** 2).reshape(-1, every).mean(axis=1)
    level_db = 10 * np.log10(np.maximum(power, 1e-20))
    series_hz = rate_hz / every
    step = max(1, round(_REFERENCE_S / 10 * series_hz))
    count = max(1, level_db.size // step)
    coarse = np.array([np.median(part) for part in np.array_split(level_db, count)])
    padded = np.pad(coarse, 5, mode="edge")
    running = np.median(np.lib.stride_tricks.sliding_window_view(padded, 11), axis=1)
    places = (np.arange(count) + 0.5) * level_db.size / count
    reference = np.interp(np.arange(level_db.size), places, running)
    return LossSeries((reference - level_db).astype(np.float32), carrier_hz, start_s)


def losses(low: LossSeries | None, high: LossSeries, series_hz: float, track: int) -> list[Loss]:
    """The dropouts of one track, from the carrier ``high`` and, where there is one, the carrier of half its frequency.

    A dropout is a stretch above half the least depth whose bottom is at least the least depth. Its depth is the median
    of what lies within a fifth of the deepest point.
    """
    least_db = spacing_loss_db(LEAST_LIFT_UM, high.carrier_hz)
    below = high.db > least_db / 2
    found = []
    for first, last in _runs(below, round(_BRIDGE_S * series_hz)):
        piece = high.db[first:last].astype(np.float64)
        top = float(piece.max())
        if top < least_db:
            continue
        bottom = piece >= 0.8 * top
        depth_db = float(np.median(piece[bottom]))
        length_s, start = _half_depth(high.db, first, last, depth_db / 2)
        if depth_db < least_db or length_s < _SHORTEST_S * series_hz:
            continue
        lift_um: float | None = depth_db / spacing_loss_db(1.0, high.carrier_hz)
        if low is not None:
            lower_db = float(np.median(low.db[first:last].astype(np.float64)[bottom]))
            if lower_db < least_db / 6:
                continue
            if lower_db > MISSING_DB and lower_db > _SAME_SHARE * depth_db:
                lift_um = None
            elif lower_db > spacing_loss_db(1.0, low.carrier_hz) / spacing_loss_db(1.0, high.carrier_hz) * depth_db:
                lift_um = lower_db / spacing_loss_db(1.0, low.carrier_hz)
        found.append(
            Loss(
                *(high.start_s + start / series_hz, length_s / series_hz, depth_db),
                *(lift_um, track, high.carrier_hz),
            )
        )
    return found


def _runs(inside: NDArray[np.bool_], bridge: int) -> list[tuple[int, int]]:
    """First and one past last of each run of True, runs closer than ``bridge`` joined; those at the ends left out."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], inside, [False])).astype(np.int8)))
    joined: list[tuple[int, int]] = []
    for first, last in edges.reshape(-1, 2).tolist():
        if joined and first - joined[-1][1] <= bridge:
            joined[-1] = (joined[-1][0], last)
        else:
            joined.append((first, last))
    return [run for run in joined if run[0] > 0 and run[1] < inside.size]


def _half_depth(db: NDArray[np.float32], first: int, last: int, half_db: float) -> tuple[float, float]:
    """Length and start in readings between the first and the last crossing of ``half_db``, interpolated."""
    over = np.flatnonzero(db[first:last] > half_db) + first
    start, end = int(over[0]), int(over[-1])
    before, at = float(db[start - 1]), float(db[start])
    begin = start - (at - half_db) / max(at - before, 1e-9) if before < half_db else float(start)
    inner, after = float(db[end]), float(db[end + 1]) if end + 1 < db.size else 0.0
    finish = end + (inner - half_db) / max(inner - after, 1e-9) if after < half_db else float(end)
    return finish - begin, begin


def on_both(left: list[Loss], right: list[Loss]) -> int:
    """How many of the right track's dropouts overlap one of the left's."""
    starts = np.array([loss.start_s for loss in left])
    ends = np.array([loss.end_s for loss in left])
    return sum(bool(((starts < loss.end_s) & (ends > loss.start_s)).any()) for loss in right)
