"""The rivals of the line codes: their plain scipy forms in double precision, on both tracks.

Each makes the sound that the line code of that name makes, and reads its bits with the plainest receiver that a tape in
use does not throw off.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from ...contracts.bits import Bits
from ...contracts.keying import Burst

Tracks = NDArray[np.float64]


def fsk_sound(line: Bits, leader_s: float, tail_s: float, rate_hz: int) -> Tracks:
    """300 line bits a second, 2,400 Hz for 1 and 1,200 Hz for 0 in one phase; mark before and after."""
    ones = [np.ones(round(seconds * rate_hz)) for seconds in (leader_s, tail_s)]
    bit = np.floor(np.arange(round(line.size / 300 * rate_hz)) * 300 / rate_hz).astype(np.int64)
    marks = np.concatenate([ones[0], line[np.minimum(bit, line.size - 1)], ones[1]])
    phase = np.cumsum(np.where(marks > 0, 2400.0, 1200.0)) / rate_hz
    sound = 10 ** (-1 / 20) * np.sin(2 * np.pi * np.concatenate([[0.0], phase[:-1]]))
    return np.stack([sound, sound])


def fsk_characters(tracks: Tracks, rate_hz: int) -> bytes:
    """Both tones mixed down and averaged over a bit, and one character after the other from its start bit on."""
    from scipy.signal import lfilter

    length = round(rate_hz / 300)
    turns = np.arange(tracks.shape[1]) / rate_hz
    powers = []
    for tone_hz in (2400.0, 1200.0):
        mixed = tracks * np.exp(-2j * np.pi * tone_hz * turns)
        powers.append((np.abs(lfilter(np.full(length, 1 / length), [1.0], mixed)) ** 2).sum(axis=0))
    mark = (powers[0] > powers[1])[length // 2 :]
    starts = np.flatnonzero(mark[:-1] & ~mark[1:])
    found, free = bytearray(), int(starts[0]) if starts.size else 0
    for start in starts.tolist():
        if start < free or start + 11 * length > mark.size + length // 2:
            continue
        middles = start + np.round((np.arange(1, 9) + 0.5) * rate_hz / 300).astype(np.int64)
        found.append(int(np.packbits(mark[middles], bitorder="little")[0]))
        free = start + round(9.5 * rate_hz / 300)
    return bytes(found)


def biphase_sound(halves: NDArray[np.floating], half_hz: float, tail_s: float, rate_hz: int) -> Tracks:
    """Levels in a row, joined by raised sines over a quarter of one."""
    frames = round((halves.size / half_hz + tail_s) * rate_hz)
    padded = np.concatenate([[0.0], halves, np.zeros(2)])
    place = (np.arange(frames) + 0.5) * half_hz / rate_hz
    edge = np.floor(place + 0.5)
    index = np.minimum(edge.astype(np.int64), padded.size - 2)
    before, after = padded[index], padded[index + 1]
    turn = np.sin(np.pi * np.clip((place - edge) / 0.25, -0.5, 0.5))
    sound = (before + after) / 2 + (after - before) / 2 * turn
    return np.stack([sound, sound])


def biphase_values(tracks: Tracks, bit_hz: float, rate_hz: int) -> Tracks:
    """One value a cell, positive for 1 (variant mark): the halves of the cell compared on both tracks.

    The zero crossings of both tracks together steer a loop that keeps time through dropouts.
    """
    from scipy.signal import butter, sosfilt

    band = butter(2, [bit_hz / 8, min(4 * bit_hz, 0.45 * rate_hz)], "bandpass", fs=rate_hz, output="sos")
    sound = sosfilt(band, tracks)
    row = sound[0] + np.sign(np.vdot(sound[0], sound[1])) * sound[1]
    loud = np.flatnonzero(np.abs(row) > 0.3 * np.sqrt(np.mean(row**2)))
    if loud.size < 2:
        return np.zeros(0)
    row = row[: loud[-1] + 1]
    at = np.flatnonzero(np.signbit(row[:-1]) != np.signbit(row[1:]))
    edges = _cell_edges((at + row[at] / (row[at] - row[at + 1])).tolist(), rate_hz / bit_hz)
    halves = np.interp(np.arange(2 * edges.size - 1) / 2, np.arange(edges.size), edges)
    sums = np.cumsum(sound, axis=1)
    means = np.diff([np.interp(halves, np.arange(total.size), total) for total in sums], axis=1)
    return np.asarray(-(means[:, ::2] * means[:, 1::2]).sum(axis=0) / np.mean(means**2))


def _cell_edges(crossings: list[float], cell: float) -> NDArray[np.float64]:
    """Where the cells meet, from the leader's crossings (one a cell) on; a crossing inside a cell steers nothing."""
    lengths = np.diff(crossings)
    steady = np.convolve(np.abs(lengths / cell - 1) < 0.2, np.ones(12), "valid")
    first = int(np.argmax(steady == 12)) if (steady == 12).any() else 0
    edge, edges = crossings[first], [crossings[first]]
    for crossing in crossings[first + 1 :]:
        while crossing > edge + 1.25 * cell:
            edge += cell
            edges.append(edge)
        error = crossing - edge - cell
        if abs(error) <= 0.25 * cell:
            edge += cell + 0.25 * error
            cell += 0.02 * error
            edges.append(edge)
    return np.array(edges)


def clocked_sound(bursts: Iterable[Burst], seconds: float, edge_s: float, rate_hz: int) -> Tracks:
    """One sine, keyed on each track."""
    frames = round(seconds * rate_hz)
    gates = np.zeros((2, frames))
    edge = max(1, round(edge_s * rate_hz))
    rise = 0.5 - 0.5 * np.cos(np.pi * (np.arange(edge) + 0.5) / edge)
    tone_hz = 0.0
    for burst in bursts:
        tone_hz = burst.tone_hz
        first, last = round(burst.start_s * rate_hz), round(burst.end_s * rate_hz)
        gates[burst.track, first:last] = 1.0
        gates[burst.track, first : first + edge] = rise
        gates[burst.track, last - edge : last] = rise[::-1]
    return np.asarray(gates * (10 ** (-1 / 20) * np.sin(2 * np.pi * tone_hz / rate_hz * np.arange(frames))))


def clocked_groups(tracks: Tracks, tone_hz: float, burst_s: float, rate_hz: int) -> bytes:
    """Envelopes by Hilbert's transform; the data in the middle of every clock burst, a byte from each longer one on."""
    from scipy.fft import next_fast_len
    from scipy.signal import butter, hilbert, lfilter

    b, a = butter(2, [0.7 * tone_hz, 1.3 * tone_hz], "bandpass", fs=rate_hz)
    smooth_b, smooth_a = butter(2, 4 / burst_s, fs=rate_hz)
    whole = next_fast_len(tracks.shape[1])
    analytic = hilbert(lfilter(b, a, tracks), whole)[:, : tracks.shape[1]]
    envelopes = lfilter(smooth_b, smooth_a, np.abs(analytic))
    clock, data = (row > 0.5 * np.quantile(row[:: max(1, rate_hz // 1000)], 0.98) for row in envelopes)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], clock, [False]]).astype(np.int8))).reshape(-1, 2)
    lengths = (edges[:, 1] - edges[:, 0]) / rate_hz
    middles = (edges[:, 0] + 0.5 * burst_s * rate_hz).astype(np.int64)
    bits = data[np.minimum(middles, data.size - 1)]
    marks = np.flatnonzero((lengths > 1.5 * burst_s) & (lengths < 2.6 * burst_s))
    whole = marks[marks + 8 <= bits.size]
    return np.packbits(bits[whole[:, None] + np.arange(8)], axis=1).tobytes()
