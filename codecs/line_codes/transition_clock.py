"""Recovering a clock that is written as changes of level, from anywhere in the recording.

A survey looks at every stretch of some dozen periods for the beat of the certain changes; the clearest stretch is a
seed, from which the clock is followed both ways as far as it is seen. Stretches that remain are tried in turn. So a
damaged start costs only itself. Pieces are joined by the whole number of periods that makes the speed run smoothly
from one into the other.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...contracts.decoded import Event
from ...contracts.signal import Signal

Times = NDArray[np.float64]

SPEED_LIMIT = 0.13
STRETCH = 64
PHASES = 4
CLEAR = 0.11
SHORTEST = 24


@dataclass(frozen=True, slots=True)
class Clock:
    """Where the certain changes lie.

    Attributes:
        times: shape (n,), frames on the common clock, rising.
        lags: shape (n,), frames by which the second track runs later than the first.
        heard: shape (n,), True where the clock was followed, False where it was bridged.
        events: what was noticed.
    """

    times: Times
    lags: Times
    heard: NDArray[np.bool_]
    events: tuple[Event, ...] = ()

    @property
    def halves(self) -> Times:
        """Half the local period at each change, frames, shape (n,)."""
        return 0.5 * np.gradient(self.times)


@dataclass(slots=True)
class _Piece:
    times: Times
    lags: Times
    strength: float


def recover(signal: Signal, tracks: tuple[int, ...], rate_hz: float, alike: bool) -> Clock:
    """The clock of nominal ``rate_hz`` on one or two ``tracks``, within 13 % of its speed."""
    nominal = signal.sample_rate_hz / rate_hz
    rows = [signal.samples[track] for track in tracks]
    pieces: list[_Piece] = []
    free = np.ones(0, bool)
    if signal.frames >= SHORTEST * nominal:
        survey = _survey(rows, nominal)
        free = survey.clarity > CLEAR
        lag: float | None = None
        for seed in np.argsort(-survey.clarity, kind="stable"):
            if not free[seed]:
                continue
            free[seed] = False
            piece = _grow(
                rows,
                survey,
                int(seed),
                nominal,
                rate_hz,
                lag,
                alike,
                _room(pieces, survey.centres[seed], signal.frames),
            )
            if piece is None:
                continue
            lag = float(np.median(piece.lags)) if lag is None else lag
            pieces.append(piece)
            free &= (survey.centres < piece.times[0]) | (survey.centres > piece.times[-1])
    if not pieces:
        return Clock(np.zeros(0), np.zeros(0), np.zeros(0, bool))
    return _join(sorted(pieces, key=lambda piece: float(piece.times[0])), signal.sample_rate_hz, rate_hz)


@dataclass(frozen=True, slots=True)
class _Survey:
    """One row a stretch: its centre, the period and phase of its beat, how clear it is, lag and amplitudes."""

    centres: Times
    clarity: Times
    periods: Times
    starts: Times
    lags: Times
    amplitudes: Times


def _survey(rows: list[NDArray[np.float32]], nominal: float) -> _Survey:
    from ...kernels.transition_tracking import even_means

    step = nominal / PHASES
    half = PHASES // 2
    length = STRETCH * PHASES
    count = max(int(rows[0].size / step), 2 * half + 1)
    spectra = []
    totals = []
    stretches = max(1, -(-(count - 2 * half + 1) // length))
    window = np.hanning(length + 2)[1:-1].astype(np.float32) + 0.3
    for row in rows:
        means = np.empty(count, np.float32)
        even_means(row, step, means)
        sums = np.concatenate(([0.0], np.cumsum(means, dtype=np.float64)))
        falls = np.abs(2 * sums[half:-half] - sums[: -2 * half] - sums[2 * half :]) / PHASES
        padded = np.zeros(stretches * length)
        padded[: falls.size] = falls
        block = padded.reshape(stretches, length)
        totals.append(block.mean(axis=1))
        block = (block - totals[-1][:, None]) * window
        spectra.append(np.fft.rfft(block, 2 * length))
    bins = 2 * length / PHASES * np.array([1 / (1 + SPEED_LIMIT), 1 + SPEED_LIMIT])
    low, high = int(np.floor(bins[0])), int(np.ceil(bins[1])) + 1
    scale = window.sum()
    clear = [
        np.abs(s[:, low - 1 : high + 1]) / scale / (t[:, None] + 1e-30) for s, t in zip(spectra, totals, strict=True)
    ]
    both = np.sqrt(sum(c * c for c in clear) / len(clear)) if len(clear) == 2 else clear[0]
    both = np.maximum.reduce([both, *clear])
    peak = 1 + np.argmax(both[:, 1:-1], axis=1)
    at = np.arange(stretches)
    left, mid, right = both[at, peak - 1], both[at, peak], both[at, peak + 1]
    bend = left - 2 * mid + right
    shift = np.where(np.abs(bend) > 1e-12, 0.5 * (left - right) / np.where(np.abs(bend) > 1e-12, bend, 1), 0.0)
    place = low - 1 + peak + np.clip(shift, -0.5, 0.5)
    periods = 2 * length / place * step
    starts_of = []
    middle = (length - 1) / 2
    for spectrum in spectra:
        nearest = low - 1 + peak
        turn = np.angle(spectrum[at, nearest] * np.exp(2j * np.pi * nearest / (2 * length) * middle))
        starts_of.append(-turn / (2 * np.pi) * periods)
    centres = (at * length + middle + half) * step
    best = np.argmax([c[at, peak] * t for c, t in zip(clear, totals, strict=True)], axis=0)
    lags = np.zeros(stretches)
    offset = starts_of[0]
    if len(rows) == 2:
        lags = starts_of[1] - starts_of[0]
        lags -= periods * np.round(lags / periods)
        offset = np.where(best == 0, starts_of[0] + lags / 2, starts_of[1] - lags / 2)
        weak = np.minimum(clear[0][at, peak], clear[1][at, peak]) < CLEAR
        lags = np.where(weak, np.nan, lags)
        offset = np.where(weak, np.where(best == 0, starts_of[0], starts_of[1]), offset)
    return _Survey(centres, both[at, peak], periods, centres + offset, lags, np.array(totals))


def _room(pieces: list[_Piece], centre: float, frames: int) -> tuple[float, float]:
    low = max((piece.times[-1] for piece in pieces if piece.times[-1] < centre), default=0.0)
    high = min((piece.times[0] for piece in pieces if piece.times[0] > centre), default=float(frames))
    return float(low), float(high)


def _grow(
    rows: list[NDArray[np.float32]],
    survey: _Survey,
    seed: int,
    nominal: float,
    rate_hz: float,
    known_lag: float | None,
    alike: bool,
    room: tuple[float, float],
) -> _Piece | None:
    from ...kernels.transition_tracking import COLUMNS, follow

    bandwidth = min(0.22, 2 * np.pi * 60 / rate_hz)
    coast = max(8, int(0.8 * rate_hz**0.5))
    limits = np.array([room[0], room[1], nominal / (1 + SPEED_LIMIT), nominal * (1 + SPEED_LIMIT)])
    period, start, lag = survey.periods[seed], survey.starts[seed], survey.lags[seed]
    if known_lag is not None:
        lag = known_lag if np.isnan(lag) else lag - period * np.round((lag - known_lag) / period)
    elif np.isnan(lag):
        lag = 0.0
    amplitudes = np.ones(2)
    amplitudes[: len(rows)] = survey.amplitudes[:, seed] * 0.9
    halves = []
    for direction in (1.0, -1.0):
        reach = room[1] - start if direction > 0 else start - room[0]
        log = np.empty((max(int(reach / limits[2]) + 2, 1), COLUMNS))
        trusted = follow(
            rows[0],
            rows[-1],
            len(rows),
            alike,
            start,
            direction * period,
            lag,
            amplitudes,
            limits,
            bandwidth,
            coast,
            log,
        )
        halves.append(log[:trusted])
    forward, backward = halves
    if len(forward) + len(backward) < SHORTEST:
        return None
    path = np.concatenate((backward[:0:-1], forward))
    if len(path) < SHORTEST:
        return None
    jitter = float(np.sqrt(np.mean(path[:, 1] ** 2))) / nominal
    times = _smooth(path[:, 0] + path[:, 1], int(max(6, 0.01 * rate_hz, 12 * (jitter / 0.025) ** 0.5)))
    return _Piece(times, path[:, 3].copy(), float(path[:, 2].mean()))


def _smooth(times: Times, reach: int) -> Times:
    """``times`` freed of jitter by a symmetric kernel without bias up to third order (twice less squared of a bell)."""
    reach = min(reach, (times.size - 1) // 4)
    if reach < 2:
        return times
    bell = np.hanning(2 * reach + 3)[1:-1]
    bell /= bell.sum()
    kernel = -np.convolve(bell, bell)
    kernel[reach : reach + bell.size] += 2 * bell
    line = np.linspace(times[0], times[-1], times.size)
    bent = times - line
    margin = 2 * reach
    padded = np.concatenate((2 * bent[0] - bent[margin:0:-1], bent, 2 * bent[-1] - bent[-2 : -margin - 2 : -1]))
    return line + np.convolve(padded, kernel, "valid")


def _join(pieces: list[_Piece], sample_rate_hz: int, rate_hz: float) -> Clock:
    times = [pieces[0].times]
    lags = [pieces[0].lags]
    heard = [np.ones(pieces[0].times.size, bool)]
    events: list[Event] = []
    for earlier, later in zip(pieces, pieces[1:], strict=False):
        missing = max(round(_periods_between(earlier.times, later.times, rate_hz)), 1)
        bridge = np.linspace(earlier.times[-1], later.times[0], missing + 1)[1:-1]
        times += [bridge, later.times]
        lags += [np.linspace(earlier.lags[-1], later.lags[0], bridge.size), later.lags]
        heard += [np.zeros(bridge.size, bool), np.ones(later.times.size, bool)]
        lost, found = earlier.times[-1] / sample_rate_hz, later.times[0] / sample_rate_hz
        events.append(Event(f"clock lost for {1000 * (found - lost):.0f} ms", lost))
    return Clock(np.concatenate(times), np.concatenate(lags), np.concatenate(heard), tuple(events))


def _periods_between(earlier: Times, later: Times, rate_hz: float) -> float:
    """Periods from the last of ``earlier`` to the first of ``later``, by the speed and its trend on either side."""
    reach = int(np.clip(0.025 * rate_hz, 8, 256))
    gap = later[0] - earlier[-1]
    speed = []
    trend = []
    for near, edge in ((earlier[-reach:], earlier[-1]), (later[:reach], later[0])):
        degree = 2 if near.size >= 8 else 1
        middle = float(near.mean())
        width = float(np.ptp(near)) or 1.0
        fit = np.polynomial.Polynomial.fit(near, np.arange(near.size), degree, domain=(middle - width, middle + width))
        speed.append(float(fit.deriv()(edge)))
        trend.append(float(fit.deriv(2)(edge)) if degree == 2 else 0.0)
    return gap * (speed[0] + speed[1]) / 2 + gap * gap * (trend[0] - trend[1]) / 12
