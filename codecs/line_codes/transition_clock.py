"""Recovering a clock that is written as changes of level, from anywhere in the recording.

A survey looks at every stretch of some dozen periods for the beat of the certain changes; the clearest stretch is a
seed, from which the clock is followed both ways as far as it is seen. Stretches that remain are tried in turn. So a
damaged start costs only itself. Pieces are joined by the whole number of periods that makes the speed run smoothly
from one into the other.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...contracts.decoded import Event
from ...contracts.signal import Signal
from .scratch import scratch
from .transition_bridge import times_between
from .transition_survey import CERTAIN, CLEAR, SPEED_LIMIT, STRETCH, SURE, Survey, survey

Times = NDArray[np.float64]

SHORTEST = 24
"""Least periods of a piece between others."""

ANCHOR = 48
"""Least periods of a piece that stands alone: noise does not look like a clock for so long."""

SPARSE_ANCHOR = 128
"""The same where changes may be missing."""

FAINT = 0.1
"""A piece of less than this share of the usual amplitude is taken for noise inside a dropout."""

_SILENT = 0.01
"""Nor is a stretch looked at whose mean fall is less than this share of the amplitude of a piece that was found."""

FOLLOWED_HZ = 60.0
"""Bandwidth of the loop: wow and flutter of 10 Hz must pass with little lag."""

COAST = 0.8
"""Periods, times the root of the rate, to go on unseen: a speed that changes by 0.6 a second (1 % at 10 Hz) puts the
clock off by 0.2 periods in that time."""

SMOOTHED_S = 0.01
"""Half the width of the smoothing: 10 Hz passes with less than 0.1 % off."""

_SECTION = 256
"""Stretches that are looked at in one go."""

_FEW = 4
"""So many of them are looked at first: most tapes are followed from one to both ends."""


@dataclass(frozen=True, slots=True)
class Clock:
    """Where the certain changes lie.

    Attributes:
        times: shape (n,), frames on the common clock, rising.
        lags: shape (n,), frames by which the second track runs later than the first.
        events: what was noticed.
    """

    times: Times
    lags: NDArray[np.float32]
    events: tuple[Event, ...] = ()

    def told(self, sample_rate_hz: int, rate_hz: float, first: int) -> list[Event]:
        """Where the signal starts, how fast it runs against ``rate_hz`` and what was noticed, from time ``first`` on.

        What comes before that is no signal: voice before the leader may beat like a clock too.
        """
        own = self.times[max(first, 0) :]
        if own.size < 2:
            own = self.times
        speed = (own.size - 1) * sample_rate_hz / (own[-1] - own[0]) / rate_hz
        begin_s = max(float(own[0]) / sample_rate_hz, 0.0)
        noticed = [event for event in self.events if event.time_s is None or event.time_s >= begin_s]
        return [Event("signal starts", begin_s), Event(f"speed {100 * (speed - 1):+.2f} %", begin_s), *noticed]


@dataclass(slots=True)
class _Piece:
    times: Times
    lags: NDArray[np.float32]
    amplitude: float


def recover(signal: Signal, tracks: tuple[int, ...], rate_hz: float, alike: bool, certain: bool = True) -> Clock:
    """The clock of nominal ``rate_hz`` on one or two ``tracks``, within 13 % of its speed.

    Args:
        alike: whether both tracks say the same.
        certain: whether a change stands at every period and others may stand between; if not, changes stand at whole
            periods only, some of them missing.
    """
    nominal = signal.sample_rate_hz / rate_hz
    rows = [signal.samples[track] for track in tracks]
    stretch = STRETCH * nominal
    total = math.ceil(signal.frames / stretch)
    pieces: list[_Piece] = []
    lag: float | None = None
    for first in range(0, total, _SECTION):
        size = min(_SECTION, total - first)
        few = min(_FEW, size)
        spread = (2 * np.arange(few) + 1) * size // (2 * few)
        for stretches, least in ((first + spread, SURE), (first + np.arange(size), CERTAIN)):
            centres = (stretches + 0.5) * stretch
            for piece in pieces:
                away = (centres < piece.times[0]) | (centres > piece.times[-1])
                stretches, centres = stretches[away], centres[away]
            if not stretches.size:
                continue
            found = survey(rows, nominal, stretches, _SILENT * max((piece.amplitude for piece in pieces), default=0.0))
            if not found.stretches.size:
                continue
            centres = (found.stretches + 0.5) * stretch
            free = (found.clarity > CLEAR) & (found.certainty > least)
            for seed in np.argsort(-found.certainty, kind="stable"):
                if not free[seed]:
                    continue
                grown = _grow(
                    rows,
                    found,
                    int(seed),
                    nominal,
                    rate_hz,
                    lag,
                    alike,
                    certain,
                    _room(pieces, found.starts[seed], nominal, signal.frames),
                )
                if grown is not None:
                    lag = _median_of_some(grown.lags) if lag is None else lag
                    pieces.append(grown)
                    free &= (centres < grown.times[0]) | (centres > grown.times[-1])
    pieces.sort(key=lambda piece: float(piece.times[0]))
    fewest = ANCHOR if certain else SPARSE_ANCHOR
    anchors = [piece for piece in pieces if piece.times.size >= fewest]
    if not anchors:
        return Clock(np.zeros(0), np.zeros(0, np.float32))
    usual = _usual(anchors)
    pieces = [piece for piece in pieces if piece.amplitude > FAINT * usual]
    ends = [place for place, piece in enumerate(pieces) if piece.times.size >= fewest]
    return _join(pieces[ends[0] : ends[-1] + 1], signal.sample_rate_hz, rate_hz)


def _usual(pieces: list[_Piece]) -> float:
    """Median of the amplitude over all periods of the ``pieces``."""
    rising = sorted(pieces, key=lambda piece: piece.amplitude)
    reached = np.cumsum([piece.times.size for piece in rising])
    return rising[int(np.searchsorted(reached, reached[-1] / 2))].amplitude


def _room(pieces: list[_Piece], time: float, nominal: float, frames: int) -> tuple[float, float]:
    """Between which times a piece may grow around ``time``; half a period is kept from the neighbours."""
    low = max((piece.times[-1] + nominal / 2 for piece in pieces if piece.times[0] < time), default=0.0)
    high = min((piece.times[0] - nominal / 2 for piece in pieces if piece.times[-1] > time), default=float(frames))
    return float(low), float(high)


def _grow(
    rows: list[NDArray[np.float32]],
    found: Survey,
    seed: int,
    nominal: float,
    rate_hz: float,
    known_lag: float | None,
    alike: bool,
    certain: bool,
    room: tuple[float, float],
) -> _Piece | None:
    from ...kernels.sparse_tracking import follow_sparse
    from ...kernels.transition_following import COLUMNS, follow

    loop = follow if certain else follow_sparse
    bandwidth = 2 * np.pi * FOLLOWED_HZ / rate_hz
    coast = max(8, int(COAST * rate_hz**0.5))
    limits = np.array([room[0], room[1], nominal / (1 + SPEED_LIMIT), nominal * (1 + SPEED_LIMIT)])
    if not room[0] <= found.starts[seed] <= room[1]:
        return None
    period, start, lag = found.periods[seed], found.starts[seed], found.lags[seed]
    if known_lag is not None:
        lag = known_lag if np.isnan(lag) else lag - period * np.round((lag - known_lag) / period)
    elif np.isnan(lag):
        lag = 0.0
    amplitudes = found.amplitudes[[0, -1], seed] * 0.9
    times, log, count = np.empty(0), np.empty((COLUMNS, 0), np.float32), 0
    backward, onward = (max(int(reach / limits[2]) + 2, 1) for reach in (start - room[0], room[1] - start))
    with scratch(COLUMNS * backward, COLUMNS * (backward + onward)) as logs:
        for direction, more, memory in ((-1.0, backward, logs[0]), (1.0, onward, logs[1])):
            # What was found backwards, turned round and without the seed, comes before what is found forwards.
            before, told, known = times, log, max(count - 1, 0)
            periods = known + more
            times, log = np.empty(periods), memory[: COLUMNS * periods].reshape(COLUMNS, periods)
            times[:known], log[:, :known] = before[known:0:-1], told[:, known:0:-1]
            count = known + loop(
                rows[0],
                rows[-1],
                alike,
                start,
                direction * period,
                lag,
                amplitudes,
                limits,
                bandwidth,
                coast,
                times,
                log,
                known,
            )
        seen = log[2, :count] > 0.5
        if np.count_nonzero(seen) < SHORTEST:
            return None
        own = slice(int(np.argmax(seen)) + 2, count - int(np.argmax(seen[::-1])) - 2)
        errors, times = log[0, own], times[own]
        jitter = float(np.einsum("i,i", errors, errors) / errors.size) ** 0.5 / nominal
        if not certain:
            clear = np.flatnonzero(seen[own])
            errors = np.interp(np.arange(errors.size), clear, errors[clear]).astype(np.float32)
        _smooth(times, errors, int(max(6, SMOOTHED_S * rate_hz, 12 * (jitter / 0.025) ** 0.5)))
        return _Piece(times, log[1, own].copy(), _median_of_some(log[3, own]))


def _median_of_some(values: NDArray[np.floating[Any]]) -> float:
    """Median of some hundred of the values, evenly spread."""
    some = np.sort(values[:: 1 + values.size // 512])
    return float(0.5 * (some[(some.size - 1) // 2] + some[some.size // 2]))


def _smooth(times: Times, errors: NDArray[np.float32], reach: int) -> None:
    """Add ``errors`` to ``times`` and free them of jitter by a symmetric kernel without bias up to third order (twice
    less squared of a bell).
    """
    from ...kernels.stretch_sums import smooth

    reach = min(reach, (times.size - 1) // 4)
    if reach < 2:
        times += errors
        return
    smooth(times, errors, _smoothing(reach))


@lru_cache(maxsize=64)
def _smoothing(reach: int) -> NDArray[np.float32]:
    bell = np.hanning(2 * reach + 3)[1:-1]
    bell /= bell.sum()
    kernel = -np.convolve(bell, bell)
    kernel[reach : reach + bell.size] += 2 * bell
    return kernel[None].astype(np.float32)


def _join(pieces: list[_Piece], sample_rate_hz: int, rate_hz: float) -> Clock:
    if len(pieces) == 1:
        return Clock(pieces[0].times, pieces[0].lags)
    times = [pieces[0].times]
    lags = [pieces[0].lags]
    events: list[Event] = []
    for earlier, later in itertools.pairwise(pieces):
        lost, found = earlier.times[-1] / sample_rate_hz, later.times[0] / sample_rate_hz
        bridge = sample_rate_hz * times_between(earlier.times / sample_rate_hz, later.times / sample_rate_hz, rate_hz)
        times += [bridge, later.times]
        lags += [np.linspace(earlier.lags[-1], later.lags[0], bridge.size, dtype=np.float32), later.lags]
        events.append(Event(f"clock lost for {1000 * (found - lost):.0f} ms", lost))
    return Clock(np.concatenate(times), np.concatenate(lags), tuple(events))
