"""The capacity of a channel for recordings of one strength: bits a second that none can exceed, an upper bound.

C. E. Shannon 1948 with the power spread by water-filling (Shannon 1949; R. G. Gallager 1968), over both tracks together
as a matrix channel, whose crosstalk costs nothing (log det; E. Telatar 1999). The channel is probed as it stands, with
dropouts and drift left out, and each track may have the power that the recording has there, spread in any way. Noise
that comes with the signal counts as noise, saturation does not count at all. Tapes are drawn and their capacities
averaged, as an azimuth is drawn for each.

A channel that treats strong and weak recordings alike is probed once, whatever is recorded. One that does not, such as
one with level control, is probed at the recording's level, in steps of a decibel.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from ..contracts.channel_model import Channel
from .probe import Probe, probe
from .strength import FULL_SCALE_SINE, Strength

_SEED = 1
_TAPES = 6
_NOISELESS = 1e-9
"""Noise below this share of the signal is what rounding to single precision makes of so weak a probe."""

_UNALIKE = 0.01
"""Difference of two responses, re the greatest, that says that a channel treats strong and weak recordings apart."""

_WEAK_SINE = 0.1
"""Peak of the weaker recording that tells."""

_NOT_STILL = 0.1
"""Noise that comes with the signal, re the signal, with which a channel cannot be said to hold still."""

_LEAST_NOISE = 1e-12
"""Added to the noise, re the strongest, so that a track or a frequency without any can be divided by it."""

_HALVINGS = 80


@dataclass(frozen=True, slots=True)
class Capacity:
    """An upper bound for one channel and recordings of one strength.

    Attributes:
        one_track_bits_per_s: with one track recorded, the better one; None where there is no bound.
        both_tracks_bits_per_s: with both.
        without: why there is no bound, in one line; None where there is one.
    """

    one_track_bits_per_s: float | None
    both_tracks_bits_per_s: float | None
    without: str | None = None


@lru_cache(maxsize=512)
def capacity(channel: Channel, strength: Strength = FULL_SCALE_SINE, sample_rate_hz: int = 44_100) -> Capacity:
    """The bound for recordings of ``strength`` through ``channel``, the mean of some tapes.

    Below 20 kHz; a stranger's models are believed to hold still unless their ``at_best`` says otherwise.
    """
    if strength.sine_peak == 0.0:
        return Capacity(None, None, "nothing is recorded on it")
    at_best = Channel(tuple(stage.at_best() for stage in channel.stages))
    tapes = _probed(at_best, 1.0, sample_rate_hz)
    why = next(filter(None, map(_without, tapes)), None)
    if why is not None:
        return Capacity(None, None, why)
    if _follows_level(at_best, sample_rate_hz):
        whole_db = math.floor(20 * math.log10(strength.sine_peak))
        tapes = _probed(at_best, 10 ** (whole_db / 20), sample_rate_hz)
    one = np.array([[_of_one(tape, track, strength) for track in (0, 1)] for tape in tapes]).mean(axis=0)
    both = float(np.mean([_of_both(tape, strength) for tape in tapes])) if min(strength.powers) else float(one.max())
    return Capacity(float(one.max()), both)


@lru_cache(maxsize=256)
def _probed(channel: Channel, sine_peak: float, sample_rate_hz: int) -> tuple[Probe, ...]:
    return tuple(probe(channel, sample_rate_hz, _SEED, tape, sine_peak) for tape in range(_TAPES))


@lru_cache(maxsize=256)
def _follows_level(channel: Channel, sample_rate_hz: int) -> bool:
    strong = _probed(channel, 1.0, sample_rate_hz)[0].response
    weak = probe(channel, sample_rate_hz, _SEED, 0, _WEAK_SINE).response
    return bool(np.abs(strong - weak).max() > _UNALIKE * np.abs(strong).max())


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
    density = FULL_SCALE_SINE.powers[0] / (tape.tooth_hz * len(tape.graininess))
    heard = density * (np.abs(tape.response) ** 2).sum(axis=(1, 2))
    if float(heard.sum()) == 0.0:
        return "nothing comes through it"
    grain = float((tape.graininess * heard).sum() / heard.sum())
    if float(np.trace(tape.noise, axis1=1, axis2=2).real.sum() / heard.sum()) + grain < _NOISELESS:
        return "it is free of noise, so that there is no bound"
    if grain > _NOT_STILL:
        return "it does not hold still for as long as it takes to probe it"
    return None


def _of_both(tape: Probe, strength: Strength) -> float:
    """The tracks may even lend each other power, which makes the bound no smaller."""
    gain = np.asarray(np.linalg.svd(_in_units_of_the_noise(tape), compute_uv=False), np.float64) ** 2
    return water_filling(gain.ravel(), np.repeat(tape.graininess, 2), tape.tooth_hz, sum(strength.powers))


def _of_one(tape: Probe, track: int, strength: Strength) -> float:
    gain: NDArray[np.float64] = (np.abs(_in_units_of_the_noise(tape)[:, :, track]) ** 2).sum(axis=1, dtype=np.float64)
    return water_filling(gain, tape.graininess, tape.tooth_hz, strength.powers[track])


def _in_units_of_the_noise(tape: Probe) -> NDArray[np.complex128]:
    strongest = float(np.trace(tape.noise, axis1=1, axis2=2).real.max())
    least = (_LEAST_NOISE * strongest + 1e-30) * np.eye(2)
    return np.asarray(np.linalg.solve(np.linalg.cholesky(tape.noise + least), tape.response), np.complex128)
