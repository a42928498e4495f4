"""An excerpt: a stretch of a recording and of what came back, with the bits, where the first failure lies.

Where no tape failed the place is drawn at random from the study's seed. Long stretches are told by the lowest and the
highest sample of each of some hundred columns, so that no peak is lost.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..contracts.signal import Signal
from ..contracts.streams import stream
from .bit_trace import MISSING, RIGHT, WRONG, Trace
from .replay import Replay

BITS = 16
"""Shown in one excerpt."""

BEFORE_BITS = 5
SHORTEST_S = 0.004
MOST_COLUMNS = 400
CLIP_S = 3.0

_STATES = {RIGHT: "right", WRONG: "wrong", MISSING: "missing"}


@dataclass(frozen=True, slots=True, eq=False)
class Excerpt:
    """The stretch.

    Attributes:
        trial: which tape.
        failed: whether that tape did not load right.
        drawing: fresh and worn waveforms with the bits, as plain data.
        fresh_clip, worn_clip: a few seconds of sound around it.
    """

    trial: int
    failed: bool
    drawing: dict[str, Any]
    fresh_clip: Signal
    worn_clip: Signal


def excerpt(replay: Replay, trial: int) -> Excerpt:
    """The stretch of that trial's tape where its trouble begins, or a random one."""
    clean, once = replay.fresh(), replay.play(trial)
    before, after = replay.follow(clean), replay.follow(once)
    failed = not once.tally.right
    corrected = replay.codec.guaranteed_burst_ms(len(replay.program)) > 0
    place = after.first_trouble(corrected) if failed else None
    at_random = place is None
    if place is None:
        place = int(stream(replay.seed, trial, "excerpt").integers(0, max(after.sent.size, 1)))
    shown = shown_bits(after, place)
    drawing = {
        "place": place,
        "at_random": at_random,
        "fresh": drawn(clean.worn, before, shown),
        "worn": drawn(once.worn, after, shown),
    }
    return Excerpt(trial, failed, drawing, _clip(clean.worn, before, place), _clip(once.worn, after, place))


def shown_bits(followed: Trace, place: int) -> NDArray[np.intp]:
    """The bits shown around bit ``place``, in the order in which they stand on the tape, which need not be theirs."""
    order = np.argsort(followed.times_s, kind="stable")
    at = int(np.flatnonzero(order == place)[0]) if order.size else 0
    first = max(min(at - BEFORE_BITS, order.size - BITS), 0)
    return order[first : first + BITS]


def drawn(signal: Signal, followed: Trace, shown: NDArray[np.intp]) -> dict[str, Any]:
    """The waveform over the bits ``shown``, and the bits, as plain data."""
    times, at_once = _side_by_side(followed.times_s, shown)
    if not times.size or np.isnan(times).any():
        begin_s, end_s = 0.0, min(0.02, signal.duration_s)
        times = np.full(times.size, np.nan)
    else:
        first_s, last_s = float(times.min()), float(times.max())
        pace_s = max((last_s - first_s) / max(times.size - 1, 1), 1e-5)
        spare_s = max((SHORTEST_S - (last_s - first_s)) / 2, pace_s)
        begin_s, end_s = first_s - spare_s, last_s + spare_s
    begin = int(np.clip(begin_s * signal.sample_rate_hz, 0, signal.frames))
    end = int(np.clip(end_s * signal.sample_rate_hz, begin, signal.frames))
    bits = [
        {
            "bit": bit,
            "time_ms": None if np.isnan(time_s) else round(1000 * float(time_s), 3),
            "sent": int(followed.sent[bit]),
            "heard": None if followed.states[bit] == MISSING else int(followed.heard[bit]),
            "state": _STATES[int(followed.states[bit])],
        }
        for bit, time_s in zip(shown.tolist(), times, strict=True)
    ]
    return {**_columns(signal, begin, end), "bits": bits, "at_once": at_once}


def _side_by_side(times_s: NDArray[np.float64], shown: NDArray[np.intp]) -> tuple[NDArray[np.float64], int]:
    """Where to draw these bits, those of one moment beside each other over its length, and most bits of a moment."""
    times = times_s[shown]
    moments, of, counts = np.unique(times, return_inverse=True, return_counts=True)
    if not times.size or np.isnan(times).any() or moments.size == times.size:
        return times, 1
    apart = np.diff(np.unique(times_s))
    length_s = float(np.median(apart)) if apart.size else SHORTEST_S
    rank = np.argsort(np.argsort(times, kind="stable"), kind="stable")
    order = rank - np.searchsorted(np.sort(times), times)
    return times + ((order + 0.5) / counts[of] - 0.5) * length_s, int(counts.max())


def _columns(signal: Signal, begin: int, end: int) -> dict[str, Any]:
    """Both tracks from ``from_ms`` on, ``step_ms`` apart: samples where they are few, else extremes of each column."""
    piece = signal.samples[:, begin:end]
    frames = piece.shape[1]
    step, rows = 1, [piece[0], piece[1]]
    if frames > 2 * MOST_COLUMNS:
        step = -(-frames // MOST_COLUMNS)
        edges = np.arange(0, frames, step)
        rows = [
            np.stack([np.minimum.reduceat(row, edges), np.maximum.reduceat(row, edges)], axis=1).ravel()
            for row in piece
        ]
    return {
        "from_ms": round(1000.0 * begin / signal.sample_rate_hz, 4),
        "step_ms": 1000.0 * step / signal.sample_rate_hz / (1 if step == 1 else 2),
        "left": _rounded(rows[0]),
        "right": _rounded(rows[1]),
    }


def _rounded(values: NDArray[Any]) -> list[float]:
    rounded: list[float] = np.round(np.asarray(values, np.float64), 3).tolist()
    return rounded


def _clip(signal: Signal, followed: Trace, place: int) -> Signal:
    middle_s = followed.times_s[place] if followed.times_s.size else np.nan
    middle_s = signal.duration_s / 2 if np.isnan(middle_s) else float(middle_s)
    begin_s = max(min(middle_s - CLIP_S / 2, signal.duration_s - CLIP_S), 0.0)
    begin = int(begin_s * signal.sample_rate_hz)
    return Signal(signal.samples[:, begin : begin + int(CLIP_S * signal.sample_rate_hz)], signal.sample_rate_hz)
