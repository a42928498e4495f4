"""The capacity of a channel: bits a second that no format can exceed, an upper bound.

C. E. Shannon 1948 with the power spread by water-filling (Shannon 1949; R. G. Gallager 1968), over both tracks together
as a matrix channel, whose crosstalk costs nothing (log det; E. Telatar 1999). The channel is probed as it stands, with
dropouts and drift left out, at the record level: each track may have the power of a full-scale sine. Noise that
comes with the signal counts as noise, saturation does not count at all. Tapes are drawn and their capacities averaged,
as an azimuth is drawn for each. A format whose recording is stronger, a square wave at the most, may gain 3 dB on
this: one bit a second a hertz.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from ..contracts.channel_model import Channel
from .probe import Probe, probe

RECORD_POWER = 0.5
"""Mean square of a full-scale sine, on each track."""

_SEED = 1
_TAPES = 6
_NOISELESS = 1e-9
"""Noise below this share of the signal is what rounding to single precision makes of so weak a probe."""

_NOT_STILL = 0.1
"""Noise that comes with the signal, re the signal, with which a channel cannot be said to hold still."""

_LEAST_NOISE = 1e-12
"""Added to the noise, re the strongest, so that a track or a frequency without any can be divided by it."""

_HALVINGS = 80


@dataclass(frozen=True, slots=True)
class Capacity:
    """An upper bound for one channel.

    Attributes:
        one_track_bits_per_s: with one track recorded, the better one; None where there is no bound.
        both_tracks_bits_per_s: with both.
        without: why there is no bound, in one line; None where there is one.
    """

    one_track_bits_per_s: float | None
    both_tracks_bits_per_s: float | None
    without: str | None = None

    def share(self, useful_bytes_per_s: float) -> float | None:
        """Of both tracks' capacity; None where there is no bound."""
        if self.both_tracks_bits_per_s is None:
            return None
        return 8 * useful_bytes_per_s / self.both_tracks_bits_per_s


@lru_cache(maxsize=128)
def capacity(channel: Channel, sample_rate_hz: int = 44_100) -> Capacity:
    """The bound for ``channel``, the mean of some tapes.

    Below 20 kHz; a stranger's models are believed to hold still unless their ``at_best`` says otherwise.
    """
    at_best = Channel(tuple(stage.at_best() for stage in channel.stages))
    tapes = [probe(at_best, sample_rate_hz, _SEED, tape) for tape in range(_TAPES)]
    for tape in tapes:
        why = _without(tape)
        if why is not None:
            return Capacity(None, None, why)
    both = [_of_both(tape) for tape in tapes]
    one = np.array([[_of_one(tape, track) for track in (0, 1)] for tape in tapes])
    return Capacity(float(one.mean(axis=0).max()), float(np.mean(both)))


def water_filling(
    gain: NDArray[np.float64], graininess: NDArray[np.float64], bandwidth_hz: float, power: float
) -> float:
    """Bits a second through channels side by side that share a power.

    A channel with density ``s`` has the signal-to-noise ratio ``g s / (1 + r g s)``.

    Args:
        gain: g, power gain over noise density, shape (channels,).
        graininess: r, noise that comes with the signal, re it, shape (channels,).
        bandwidth_hz: of each channel.
        power: of all together.

    >>> ratio = 10 ** (40 / 10)  # 8 kHz at 40 dB
    >>> round(water_filling(np.full(800, ratio * 8000), np.zeros(800), 10.0, 1.0))
    106303
    """
    low, high = 0.0, float(gain.max(initial=0.0))
    if high == 0.0:
        return 0.0
    for _ in range(_HALVINGS):
        level = (low + high) / 2
        spent = bandwidth_hz * (_filled(gain, graininess, level) / np.maximum(gain, 1e-300)).sum()
        low, high = (level, high) if spent > power else (low, level)
    strength = _filled(gain, graininess, high)
    return float(bandwidth_hz * np.log2(1 + strength / (1 + graininess * strength)).sum())


def _filled(gain: NDArray[np.float64], graininess: NDArray[np.float64], level: float) -> NDArray[np.float64]:
    """g s where the next watt gives each channel as much: (1 + r g s)(1 + (1 + r) g s) = g / level."""
    over = np.maximum(gain / max(level, 1e-300) - 1, 0.0)
    root = np.sqrt(1 + 4 * graininess * (1 + graininess) * (1 + over))
    return np.asarray(2 * over / (1 + 2 * graininess + root))


def _without(tape: Probe) -> str | None:
    density = RECORD_POWER / (tape.tooth_hz * len(tape.graininess))
    heard = density * (np.abs(tape.response) ** 2).sum(axis=(1, 2))
    if float(heard.sum()) == 0.0:
        return "nothing comes through it"
    grain = float((tape.graininess * heard).sum() / heard.sum())
    if float(np.trace(tape.noise, axis1=1, axis2=2).real.sum() / heard.sum()) + grain < _NOISELESS:
        return "it is free of noise, so that there is no bound"
    if grain > _NOT_STILL:
        return "it does not hold still for as long as it takes to probe it"
    return None


def _of_both(tape: Probe) -> float:
    gain = np.asarray(np.linalg.svd(_in_units_of_the_noise(tape), compute_uv=False), np.float64) ** 2
    return water_filling(gain.ravel(), np.repeat(tape.graininess, 2), tape.tooth_hz, 2 * RECORD_POWER)


def _of_one(tape: Probe, track: int) -> float:
    gain: NDArray[np.float64] = (np.abs(_in_units_of_the_noise(tape)[:, :, track]) ** 2).sum(axis=1, dtype=np.float64)
    return water_filling(gain, tape.graininess, tape.tooth_hz, RECORD_POWER)


def _in_units_of_the_noise(tape: Probe) -> NDArray[np.complex128]:
    strongest = float(np.trace(tape.noise, axis1=1, axis2=2).real.max())
    least = (_LEAST_NOISE * strongest + 1e-30) * np.eye(2)
    return np.asarray(np.linalg.solve(np.linalg.cholesky(tape.noise + least), tape.response), np.complex128)
