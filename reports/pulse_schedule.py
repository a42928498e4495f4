"""The pulse schedule of a recording: what is on either track from when to when, and the half waves that play it.

Half waves are counted in ticks of a timer. The tick is chosen so that the shortest half wave is a whole number of
ticks, and every edge is rounded to the nearest tick from the start, so that rounding never adds up.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TextIO

import numpy as np
from numpy.typing import NDArray

from ..contracts.bits import Bits
from ..contracts.errors import UsageError
from ..contracts.keying import Burst
from ..contracts.line_code import LineCode
from ..contracts.switching import Levelled, Toned

MOST_TICKS_PER_S = 1_000_000
"""Ticks of a microsecond: what a timer of any microcontroller has (common practice)."""

MOST_REST_TICKS = 65_535
MOST_WAVES = 32_767

_SAME_PLACE = 1e-6
"""Half waves by which an edge may lie beside where it should, from the rounding of floats."""

Run = tuple[int, int]
"""Ticks of a half wave, and how many of them: positive if the first is high, negative if it is low; 0 for a rest of
that many ticks."""


@dataclass(frozen=True)
class PulseSchedule:
    """A recording as pulses.

    Attributes:
        kind: what ``rows`` say in their last column: ``tone_hz`` or ``level``.
        rows: track, start and end in seconds, and the tone or the level; silence is left out.
        ticks_per_s: of the timer.
        runs: of the left and the right track, from start to end.
    """

    kind: str
    rows: tuple[tuple[str, float, float, float], ...]
    ticks_per_s: int
    runs: tuple[tuple[Run, ...], tuple[Run, ...]]

    def write_csv(self, file: TextIO) -> None:
        """``rows`` with a head line: ``track,start_s,end_s`` and ``kind``."""
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(("track", "start_s", "end_s", self.kind))
        writer.writerows((track, f"{start:.6f}", f"{end:.6f}", f"{what:g}") for track, start, end, what in self.rows)


def pulse_schedule(code: LineCode, bits: Bits) -> PulseSchedule:
    """The schedule of ``bits``.

    Raises:
        UsageError: a line code that is neither tone after tone nor two levels.
    """
    duration_s = code.duration_s(bits.size)
    if isinstance(code, Toned):
        return _of_tones(code.bursts(bits), duration_s)
    if isinstance(code, Levelled):
        return _of_levels(code.levels(bits), code.level_rate_hz, duration_s)
    raise UsageError(
        f"player: '{code.name}' is neither tone after tone nor two levels: pins cannot play it, only a sound output "
        f"can (see 'tapewright encode')."
    )


def _of_tones(bursts: tuple[Burst, ...], duration_s: float) -> PulseSchedule:
    highest_hz = max((burst.tone_hz for burst in bursts), default=1.0)
    ticks_per_s = _ticks(2 * highest_hz)
    runs = tuple(
        _runs(_tone_waves([burst for burst in bursts if burst.track == track]), ticks_per_s, duration_s)
        for track in (0, 1)
    )
    rows = tuple((("left", "right")[burst.track], burst.start_s, burst.end_s, burst.tone_hz) for burst in bursts)
    return PulseSchedule("tone_hz", rows, ticks_per_s, (runs[0], runs[1]))


def _of_levels(levels: tuple[NDArray[np.int8], NDArray[np.int8]], rate_hz: float, duration_s: float) -> PulseSchedule:
    ticks_per_s = _ticks(rate_hz)
    rows: list[tuple[str, float, float, float]] = []
    runs = []
    for track, row in zip(("left", "right"), levels, strict=True):
        changes = np.flatnonzero(np.diff(row, prepend=np.int8(0)))
        edges_s = np.append(changes, row.size) / rate_hz
        highs = row[changes]
        rows += zip([track] * highs.size, edges_s[:-1].tolist(), edges_s[1:].tolist(), highs.tolist(), strict=True)
        waves = [(edges_s, highs)] if row.size else []
        runs.append(_runs(iter(waves), ticks_per_s, duration_s))
    rows.sort(key=lambda row: row[1])
    return PulseSchedule("level", tuple(rows), ticks_per_s, (runs[0], runs[1]))


def _ticks(half_waves_per_s: float) -> int:
    """The most ticks a second of which a half wave takes a whole number, or as near as whole ticks come."""
    a_wave = max(1, int(MOST_TICKS_PER_S / half_waves_per_s))
    return round(a_wave * half_waves_per_s)


Waves = tuple[NDArray[np.float64], NDArray[np.int8]]
"""Edges in seconds, the last one where it ends, and the level after each but the last."""


def _tone_waves(bursts: list[Burst]) -> Iterator[Waves]:
    """The half waves of each stretch of a track that has no silence in it; the first is high."""
    whole: list[NDArray[np.float64]] = []
    turned = 0.0
    for place, burst in enumerate(bursts):
        half_s = 0.5 / burst.tone_hz
        first = np.ceil(turned - _SAME_PLACE)
        beyond = turned + burst.length_s / half_s
        numbers = np.arange(first, beyond - _SAME_PLACE)
        whole.append(burst.start_s + (numbers - turned) * half_s)
        turned = beyond
        after = bursts[place + 1] if place + 1 < len(bursts) else None
        if after is None or after.start_s - burst.end_s > _SAME_PLACE * half_s:
            edges = np.concatenate([*whole, [burst.end_s]])
            yield edges, (1 - 2 * (np.arange(edges.size - 1) % 2)).astype(np.int8)
            whole, turned = [], 0.0


def _runs(waves: Iterator[Waves], ticks_per_s: int, duration_s: float) -> tuple[Run, ...]:
    found: list[Run] = []
    now = 0

    def rest(until: int) -> None:
        for begin in range(now, until, MOST_REST_TICKS):
            found.append((min(MOST_REST_TICKS, until - begin), 0))

    for edges_s, levels in waves:
        edges = np.rint(edges_s * ticks_per_s).astype(np.int64)
        rest(int(edges[0]))
        lengths = np.diff(edges)
        if lengths.max(initial=0) > MOST_REST_TICKS:
            raise UsageError(
                f"player: a half wave must be shorter than {MOST_REST_TICKS / ticks_per_s:.3g} s, "
                f"not {lengths.max() / ticks_per_s:.3g} s."
            )
        # A half wave is as long as the one before it, or a new run begins; the levels alternate in any case.
        new = np.flatnonzero(np.diff(lengths, prepend=-1))
        counts = np.diff(new, append=lengths.size)
        for first, count in zip(new.tolist(), counts.tolist(), strict=True):
            for begin in range(first, first + count, MOST_WAVES):
                waves_now = min(MOST_WAVES, first + count - begin)
                found.append((int(lengths[first]), int(levels[begin]) * waves_now))
        now = int(edges[-1])
    rest(round(duration_s * ticks_per_s))
    # A last half wave of less than half a tick is none.
    return tuple(run for run in found if run[0] > 0)
