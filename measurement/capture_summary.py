"""What a capture of any format shows where its signal plays: level of each track, skew, dropouts.

Nothing is known of the format but from when to when it plays. What such a look cannot tell is None.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..contracts.play import Play
from ..contracts.signal import Signal

Array = NDArray[np.float64]

WINDOW_S = 0.004
"""Long enough for a cycle of the lowest tone that formats use, short enough for a dropout of 5 ms."""

DROPOUT_DB = 6.0
"""A track that is weaker by this has a dropout."""

KEYED_DB = 12.0
KEYED_SHARE = 0.15
"""A track that is weaker by so much for more of the time is keyed, and its silences are no dropouts."""

SILENT_DB = -70.0
"""A track below this re full scale, or 40 dB below the other, carries nothing."""

MOST_SKEW_S = 300e-6
"""30 minutes of arc make 165 us; beyond it the whole cycles of a tone cannot be told apart."""

BELIEVED_SKEW_S = 150e-6
"""27 minutes of arc: a tone that fits so is rather this late than inverted."""

_SKEW_BLOCK_S = 0.25
_MOST_BLOCKS = 40
_ALIKE = 0.3
"""Least correlation: bursts on one track stand together with those of a clock on the other for half the time."""
_AROUND_S = 1.0


@dataclass(frozen=True, slots=True)
class Dropout:
    """A moment in which one track was weaker.

    Attributes:
        track: "left" or "right".
        start_s, length_s: where on the capture.
        depth_db: how much weaker at the deepest.
    """

    track: str
    start_s: float
    length_s: float
    depth_db: float

    def __str__(self) -> str:
        return f"dropout on the {self.track} track, {1000 * self.length_s:.0f} ms, {self.depth_db:.0f} dB deep"


@dataclass(frozen=True, slots=True)
class TrackSummary:
    """One track.

    Attributes:
        level_db: peak re full scale; None if it is silent.
        offset: mean, as a share of full scale.
        clipped_share: samples at full scale.
        is_keyed: bursts with silence between them.
    """

    level_db: float | None
    offset: float
    clipped_share: float
    is_keyed: bool

    def __str__(self) -> str:
        if self.level_db is None:
            return "silent"
        offset = f" (offset {self.offset:+.2f})" if abs(self.offset) >= 0.01 else ""
        clipped = f" ({100 * self.clipped_share:.1f} % at full scale)" if self.clipped_share >= 0.001 else ""
        return f"{self.level_db:.1f} dB{offset}{clipped}"


@dataclass(frozen=True, slots=True)
class CaptureSummary:
    """Both tracks.

    Attributes:
        tracks: left, right.
        skew_us: by how much the right track comes later; None where the tracks have too little in common.
        is_one_inverted: the tracks have opposite polarity.
        dropouts: of the tracks that sound all the time, in the order of the tape.
    """

    tracks: tuple[TrackSummary, TrackSummary]
    skew_us: float | None
    is_one_inverted: bool
    dropouts: tuple[Dropout, ...]

    def __str__(self) -> str:
        parts = [f"{name} {track}" for name, track in zip(("left", "right"), self.tracks, strict=True)]
        if self.skew_us is not None:
            parts.append(f"skew {self.skew_us:+.0f} us")
        if self.is_one_inverted:
            parts.append("one track is inverted")
        if all(track.is_keyed for track in self.tracks):
            parts.append("keyed, so that a dropout shows as a lost burst alone")
        elif self.dropouts:
            longest_ms = 1000 * max(dropout.length_s for dropout in self.dropouts)
            parts.append(f"{len(self.dropouts)} dropouts, the longest {longest_ms:.0f} ms")
        else:
            parts.append("no dropouts")
        return ", ".join(parts)

    def to_json(self) -> dict[str, Any]:
        """Plain values."""
        left, right = (
            {
                "level_db": None if track.level_db is None else round(track.level_db, 2),
                "offset": round(track.offset, 4),
                "clipped_share": round(track.clipped_share, 5),
                "is_keyed": track.is_keyed,
            }
            for track in self.tracks
        )
        return {
            "left": left,
            "right": right,
            "skew_us": None if self.skew_us is None else round(self.skew_us, 1),
            "is_one_inverted": self.is_one_inverted,
            "dropouts": [
                {
                    "track": dropout.track,
                    "start_s": round(dropout.start_s, 4),
                    "length_s": round(dropout.length_s, 4),
                    "depth_db": round(dropout.depth_db, 1),
                }
                for dropout in self.dropouts
            ],
        }


def summarise(signal: Signal, start_s: float | None, end_s: float | None) -> CaptureSummary:
    """What plays from ``start_s`` to ``end_s``, by default the whole capture."""
    rate_hz = signal.sample_rate_hz
    first = 0 if start_s is None else min(max(int(start_s * rate_hz), 0), signal.frames)
    last = signal.frames if end_s is None else min(max(int(end_s * rate_hz), first), signal.frames)
    rows = signal.samples[:, first:last]
    if rows.shape[1] == 0:
        nothing = TrackSummary(None, 0.0, 0.0, False)
        return CaptureSummary((nothing, nothing), None, False, ())
    offsets = rows.mean(axis=1, dtype=np.float64)
    powers = [_powers(row, float(offset), rate_hz) for row, offset in zip(rows, offsets, strict=True)]
    peaks = [_peak_db(row - np.float32(offset)) for row, offset in zip(rows, offsets, strict=True)]
    silent = [peak < SILENT_DB or peak < max(peaks) - 40.0 for peak in peaks]
    usual = [_usual(power) for power in powers]
    keyed = [
        not mute and float((power < _share(KEYED_DB) * np.quantile(power, 0.98)).mean()) > KEYED_SHARE
        for mute, power in zip(silent, powers, strict=True)
    ]
    tracks = tuple(
        TrackSummary(None if mute else peak, float(offset), float((np.abs(row) >= 0.9999).mean()), is_keyed)
        for mute, peak, offset, row, is_keyed in zip(silent, peaks, offsets, rows, keyed, strict=True)
    )
    dropouts: list[Dropout] = []
    for name, mute, is_keyed, power, around in zip(("left", "right"), silent, keyed, powers, usual, strict=True):
        if not (mute or is_keyed):
            dropouts += _dropouts(name, power, around, first / rate_hz)
    skew_s, alike = (None, 1.0) if any(silent) else _skew(rows, rate_hz)
    return CaptureSummary(
        (tracks[0], tracks[1]),
        None if skew_s is None else 1e6 * skew_s,
        alike < 0,
        tuple(sorted(dropouts, key=lambda dropout: dropout.start_s)),
    )


def summaries(signals: Sequence[Signal], plays: Sequence[Play]) -> tuple[tuple[Play, CaptureSummary], ...]:
    """Each play with what its capture shows; none where the receiver does not tell of plays."""
    return tuple(
        (play, summarise(signal, play.start_s, play.end_s)) for signal, play in zip(signals, plays, strict=False)
    )


def _share(db: float) -> float:
    return float(10 ** (-db / 10))


def _powers(row: NDArray[np.float32], offset: float, rate_hz: int) -> Array:
    size = max(1, round(WINDOW_S * rate_hz))
    whole = row[: row.size // size * size] if row.size >= size else row
    squares = (whole - np.float32(offset)) ** 2
    return np.asarray(squares.reshape(-1, min(size, row.size)).mean(axis=1, dtype=np.float64))


def _peak_db(row: NDArray[np.float32]) -> float:
    step = max(1, row.size // 200_000)
    return 20.0 * float(np.log10(np.quantile(np.abs(row[::step]), 0.99) + 1e-12))


def _usual(power: Array) -> Array:
    """The upper quartile of the second around each window."""
    from scipy.ndimage import percentile_filter

    size = min(power.size, round(_AROUND_S / WINDOW_S))
    around: Array = percentile_filter(power, 75, size=size, mode="nearest")
    return around


def _dropouts(name: str, power: Array, usual: Array, start_s: float) -> list[Dropout]:
    weak = (power < _share(DROPOUT_DB) * usual).astype(np.int8)
    edges = np.flatnonzero(np.diff(np.concatenate(([0], weak, [0])))).reshape(-1, 2)
    found = []
    for first, beyond in edges.tolist():
        depth_db = 10.0 * float(np.log10(np.max(usual[first:beyond] / (power[first:beyond] + 1e-20) + 1e-20)))
        length_s = (beyond - first) * WINDOW_S
        found.append(Dropout(name, start_s + first * WINDOW_S, length_s, min(depth_db, 99.0)))
    return found


def _skew(rows: NDArray[np.float32], rate_hz: int) -> tuple[float | None, float]:
    """By how much the right track comes later, in seconds, and how alike the tracks are there, -1 to 1."""
    most = max(2, int(np.ceil(MOST_SKEW_S * rate_hz)))
    size = max(int(_SKEW_BLOCK_S * rate_hz), 8 * most)
    if rows.shape[1] < size:
        return None, 1.0
    starts = np.unique(np.linspace(0, rows.shape[1] - size, _MOST_BLOCKS).astype(np.int64))
    total = np.zeros(2 * most + 1)
    energy = 0.0
    for start in starts.tolist():
        left, right = (row - row.mean() for row in rows[:, start : start + size].astype(np.float64))
        inner = left[most : size - most]
        total += np.correlate(right, inner, "valid")
        energy += float(np.sqrt((inner**2).sum() * (right[most : size - most] ** 2).sum()))
    if energy == 0.0:
        return None, 1.0
    likeness = total / energy
    size_of = np.abs(likeness)
    if size_of.max() < _ALIKE:
        return None, 1.0
    # A tone is as like itself one cycle on, and half a cycle on if inverted; the nearest peak to no skew is taken.
    inside = np.flatnonzero((size_of[1:-1] >= size_of[:-2]) & (size_of[1:-1] >= size_of[2:])) + 1
    peaks = [place for place in inside.tolist() if size_of[place] > 0.9 * size_of.max()]
    if not peaks:
        return None, 1.0
    upright = [place for place in peaks if likeness[place] > 0 and abs(place - most) <= BELIEVED_SKEW_S * rate_hz]
    best = min(upright or peaks, key=lambda place: (abs(place - most), place))
    before, at, after = size_of[best - 1 : best + 2]
    bend = before - 2 * at + after
    shift = 0.5 * (before - after) / bend if bend else 0.0
    return (best - most + float(shift)) / rate_hz, float(likeness[best])
