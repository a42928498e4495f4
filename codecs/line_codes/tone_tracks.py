"""Tracks heard at the tones they carry: mixed to zero frequency and turned back by the speed of the tape.

Tones are mixed in hops of one or two cycles, and from there on "time" is counted in hops. The turning of a tone from
hop to hop tells the speed of the tape, and what does not turn with it is noise.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...contracts.signal import Signal

LOOK_CYCLES = 20
"""Cycles of tone summed in one phase: 1 % of wow turns it by a fifth of a cycle, which costs 0.6 dB."""
MOST_SPEED_ERROR = 0.1
SPEED_WINDOW_S = 1.0
_TURNING_CYCLES = 4.0
"""Four cycles turn by 0.4 of one at the largest speed error: no doubt which way."""

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]


@dataclass(frozen=True)
class ToneTracks:
    """Tones at zero frequency.

    Attributes:
        tones: of each track and tone asked for, shape (hops,).
        noises: mean square of the noise in a hop of each, shape (hops,).
        pace: hops a nominal second, shape (hops,).
        hop_s: length of a hop.
    """

    tones: tuple[Complex, ...]
    noises: tuple[Array, ...]
    pace: Array
    hop_s: float


def hop_of(lowest_tone_hz: float, burst_s: float, rate_hz: int) -> int:
    """Frames of one cycle of the tone, or of two where a burst is long enough."""
    cycles = 2 if burst_s * lowest_tone_hz >= 40 else 1
    return max(1, round(cycles * rate_hz / lowest_tone_hz))


def listen(signal: Signal, carried: Sequence[tuple[int, float]], hop: int) -> ToneTracks:
    """Each track at each tone.

    Args:
        carried: track (0 = left, 1 = right) and tone in Hz, below half the sample rate.
        hop: frames a hop.
    """
    from scipy.ndimage import uniform_filter1d

    from ...kernels.tone_mixer import baseband

    hop_s = hop / signal.sample_rate_hz
    mixed = [baseband(signal.samples[track], tone_hz / signal.sample_rate_hz, hop) for track, tone_hz in carried]
    size = max(1, round(SPEED_WINDOW_S / hop_s))

    def smooth(values: Array) -> Array:
        smoothed: Array = uniform_filter1d(values, size, mode="nearest")
        return smoothed

    def turning(track: Complex, hops: int) -> Complex:
        product = np.zeros(track.size, np.complex128)
        product[hops:] = track[hops:] * track[:-hops].conj()
        return smooth(product.real) + 1j * smooth(product.imag)

    noises = []
    turned: dict[float, Complex] = {}
    reach = {tone_hz: max(1, int(_TURNING_CYCLES / (tone_hz * hop_s))) for _, tone_hz in carried}
    for (_, tone_hz), track in zip(carried, mixed, strict=True):
        power = smooth(track.real**2 + track.imag**2)
        noises.append(np.maximum(power - np.abs(turning(track, 1)), 1e-9 * power.max(initial=0.0) + 1e-30))
        turned[tone_hz] = turned.get(tone_hz, 0.0) + turning(track, reach[tone_hz])
    error = _speed_error(turned, {tone_hz: tone_hz * hops * hop_s for tone_hz, hops in reach.items()})
    turns = -2j * math.pi * hop_s * np.cumsum(error)
    back = {tone_hz: np.exp(tone_hz * turns) for tone_hz in reach}
    tones = tuple(track * back[tone_hz] for (_, tone_hz), track in zip(carried, mixed, strict=True))
    return ToneTracks(tones, tuple(noises), 1.0 / (hop_s * (1.0 + error)), hop_s)


def _speed_error(turned: dict[float, Complex], cycles: dict[float, float]) -> Array:
    """How much faster than recorded the tape runs, as a share; each tone counts as far as it is heard."""
    told, weight = [], []
    for tone_hz, product in turned.items():
        # Where little is heard the speed of the whole tape fills in.
        product = product + 0.25 * product.mean()
        told.append(np.angle(product) / (2 * math.pi * cycles[tone_hz]))
        weight.append(np.abs(product) + 1e-30)
    error = np.average(told, axis=0, weights=weight)
    clipped: Array = np.clip(error, -MOST_SPEED_ERROR, MOST_SPEED_ERROR)
    return clipped


def running_sum(values: Complex) -> Complex:
    """Sums of the first 0, 1, ... values, to be read by ``sums``."""
    return np.concatenate([[0], np.cumsum(values)])


def sums(total: Complex, bounds: Array) -> Complex:
    """A running sum read between hops, differenced along the first axis of ``bounds``."""
    last = total.size - 1
    if last < 1:
        return np.diff(np.broadcast_to(total[0], bounds.shape), axis=0)
    places = np.clip(bounds, 0.0, last)
    before = np.clip(places.astype(np.int64), 0, last - 1)
    at, after = total[before], total[before + 1]
    read = np.where(places >= last, after, (after - at) * (places - before) + at)
    return np.diff(read, axis=0)
