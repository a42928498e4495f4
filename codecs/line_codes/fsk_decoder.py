"""How two tones are heard: correlators at both, a flywheel over characters, and the likelihood of each bit.

"Time" is counted in hops, eight to a bit.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from ...contracts.decoded import Event
from ...contracts.signal import Signal
from ...contracts.soft_bits import CERTAIN, SoftBits
from .envelope_likelihood import log_bessel_i0

if TYPE_CHECKING:
    from .fsk import Fsk

HOPS_A_BIT = 8
MOST_SPEED_ERROR = 0.1
STEEPEST = 6.0
"""Log ratio of the two powers beyond which more does not help to find the place of a bit."""
LEVEL_WORDS = 9
"""Words over which amplitudes and noise are averaged."""

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]


@dataclass(frozen=True)
class Correlators:
    """Running sums of one track mixed with each tone.

    Attributes:
        mark, space: complex, shape (hops + 1,).
    """

    mark: Complex
    space: Complex

    def powers(self, starts: Array, bit: float | Array) -> tuple[Array, Array]:
        """Power at mark and at space in a window of one bit from each of ``starts``."""
        return _power(self.mark, starts, bit), _power(self.space, starts, bit)


def demodulate(code: Fsk, signal: Signal) -> SoftBits:
    """Soft bits of a two-tone tape; nothing if no character is found."""
    rate_hz = signal.sample_rate_hz
    if max(code.mark_hz, code.space_hz) >= rate_hz / 2 or signal.duration_s * code.baud_hz < 12:
        return SoftBits([])
    hop = max(1, round(rate_hz / code.baud_hz / HOPS_A_BIT))
    rows = {"same": signal.samples, "left": signal.samples[:1], "right": signal.samples[1:]}[code.tracks]
    tracks, error = _listen(code, rows, rate_hz, hop)
    bit = rate_hz / (code.baud_hz * (1.0 + error)) / hop
    ratio = _ratio(tracks, bit)
    from ...kernels.word_flywheel import follow_words

    pattern = code.pattern
    most = int(ratio.size / (0.95 * pattern.size * bit)) + 2
    starts = np.empty(most)
    fits = np.empty(most, np.float32)
    count = follow_words(ratio, pattern, bit, -1.0, starts, fits)
    starts, fits = starts[:count], fits[:count]
    if count == 0:
        return SoftBits([])
    bits = _bit_lengths(starts, pattern.size, bit)
    places = starts[:, None] + np.arange(pattern.size) * bits[:, None]
    values = _likelihood(tracks, places, bits)
    values[fits < 0] = 0.0
    data = slice(code.start_bits, code.start_bits + 8)
    values, times_s = values[:, data], (places[:, data] + 0.5 * bits[:, None]) * hop / rate_hz
    if code.bit_order == "lsb":
        values, times_s = values[:, ::-1], times_s[:, ::-1]
    events = (Event(f"first character, tape speed {100 * error:+.2f} %", float(starts[0]) * hop / rate_hz),)
    return SoftBits(values.ravel(), times_s.ravel(), events)


def _correlators(code: Fsk, row: NDArray[np.float32], rate_hz: int, hop: int, error: float) -> Correlators:
    from ...kernels.tone_mixer import baseband

    sums = []
    for tone_hz in (code.mark_hz, code.space_hz):
        mixed = baseband(row, tone_hz * (1.0 + error) / rate_hz, hop)
        sums.append(np.concatenate([[0], np.cumsum(mixed)]))
    return Correlators(*sums)


def _turning(track: Correlators, size: int) -> complex:
    """How far the mark tone turns from one window of ``size`` hops to the next, where there is mark in both."""
    mark = track.mark[size:] - track.mark[:-size]
    space = track.space[size:] - track.space[:-size]
    marked = mark.real**2 + mark.imag**2 > 3.0 * (space.real**2 + space.imag**2)
    product = (mark[size:] * mark[:-size].conj())[marked[size:] & marked[:-size]]
    return complex(product.sum())


def _listen(code: Fsk, rows: NDArray[np.float32], rate_hz: int, hop: int) -> tuple[list[Correlators], float]:
    """Correlators tuned to the speed of the tape, and how much faster than recorded it runs."""
    hop_s = hop / rate_hz
    # Four cycles turn by 0.4 of one at the largest speed error: no doubt which way.
    size = max(1, min(HOPS_A_BIT, round(4.0 / (code.mark_hz * hop_s))))
    error = 0.0
    for _ in range(2):
        tracks = [_correlators(code, row, rate_hz, hop, error) for row in rows]
        turning = sum(_turning(track, size) for track in tracks)
        tuned = error + float(np.angle(turning)) / (2 * math.pi * code.mark_hz * size * hop_s)
        error = min(MOST_SPEED_ERROR, max(-MOST_SPEED_ERROR, tuned))
    return tracks, error


def _read(total: Complex, places: Array) -> Complex:
    """A running sum read between hops."""
    bounded = np.clip(places, 0.0, total.size - 1.000001)
    below = bounded.astype(np.int64)
    part = bounded - below
    read: Complex = total[below] * (1.0 - part) + total[below + 1] * part
    return read


def _power(total: Complex, starts: Array, bit: float | Array) -> Array:
    summed = _read(total, starts + bit) - _read(total, starts)
    return np.asarray(summed.real**2 + summed.imag**2)


def _ratio(tracks: list[Correlators], bit: float) -> NDArray[np.float32]:
    """log(mark / space) of the window from each hop on, both tracks together by power."""
    mark: Array | float = 0.0
    space: Array | float = 0.0
    for track in tracks:
        starts = np.arange(track.mark.size - math.ceil(bit), dtype=np.float64)
        powers = track.powers(starts, bit)
        mark, space = mark + powers[0], space + powers[1]
    mark, space = np.asarray(mark), np.asarray(space)
    floor = 1e-9 * float(np.max(mark + space, initial=0.0)) + 1e-30
    ratio = np.log((mark + floor) / (space + floor))
    return np.clip(ratio, -STEEPEST, STEEPEST).astype(np.float32)


def _bit_lengths(starts: Array, word_bits: int, bit: float) -> Array:
    """Length of a bit in each word, from the word that follows at once if one does."""
    lengths = np.diff(starts, append=starts[-1] + word_bits * bit) / word_bits
    return np.where(np.abs(lengths / bit - 1.0) < 0.04, lengths, bit)


def _likelihood(tracks: list[Correlators], places: Array, bits: Array) -> Array:
    """Log-likelihood ratio of mark against space for bits in words, shape (words, bits a word).

    Noncoherent orthogonal detection: log I0(a_m |M|) - a_m**2 / 4 against the same at space, with amplitudes and
    noise of each tone taken from the words around (Proakis, Digital Communications, noncoherent detection; from
    memory).
    """
    from scipy.ndimage import uniform_filter1d

    told = np.zeros(places.shape)
    size = bits[:, None]

    def around(values: Array, chosen: NDArray[np.bool_]) -> Array:
        """The mean of the chosen values over the words around, shape (words, 1)."""
        total = uniform_filter1d(np.where(chosen, values, 0.0).sum(axis=1), LEVEL_WORDS, mode="nearest")
        count = uniform_filter1d(chosen.sum(axis=1).astype(float), LEVEL_WORDS, mode="nearest")
        whole = float(values[chosen].mean()) if chosen.any() else 0.0
        mean: Array = np.where(count > 0.2, total / np.maximum(count, 1e-9), whole)[:, None]
        return mean

    for track in tracks:
        mark, space = track.powers(places, size)
        marked = mark > space
        floor = 1e-9 * float(np.max(mark + space, initial=0.0)) + 1e-30
        noise = np.maximum(around(np.minimum(mark, space), np.ones_like(marked)), floor)
        gains = [
            np.maximum(around(power, chosen) / noise - 1.0, 1e-3)
            for power, chosen in ((mark, marked), (space, ~marked))
        ]
        told += log_bessel_i0(2.0 * np.sqrt(gains[0] * mark / noise)) - gains[0]
        told -= log_bessel_i0(2.0 * np.sqrt(gains[1] * space / noise)) - gains[1]
    return np.clip(told, -CERTAIN, CERTAIN)
