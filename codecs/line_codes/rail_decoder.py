"""How a sound input hears rails: the step is where any of them sets in, and the data is which of them sounds."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from ...contracts.signal import Signal
from ...contracts.soft_bits import CERTAIN, SoftBits
from .burst_onsets import BurstLengths, burst_onsets
from .clock_flywheel import ClockBursts, Train, events_of, follow
from .envelope_likelihood import tone_against_silence
from .tone_tracks import LOOK_CYCLES, ToneTracks, hop_of, listen, running_sum, sums

if TYPE_CHECKING:
    from .rail_code import RailCode

SAME_BURST_SHARE = 0.25
"""Onsets on several rails within this share of a step are one step."""
LEAK_SHARE = 1 / 16
"""What is weaker than this share of the power on another rail is its leak."""
FADES = ((1.0, 0.97), (0.25, 0.02), (0.0625, 0.009))
"""By how much a burst may be weaker in power than those around, and how often: a modelling prior. The rest is 0."""
SILENT = 1e-3
"""Chance that a dropout swallows the burst of a step that was heard: a modelling prior, which bounds sureness."""
SILENT_UNHEARD = 0.01
"""The same where the step was put in from the cadence: most bursts that do not stand out are there and weak."""
NEIGHBOURS = 9
"""Bursts of a rail over which its level is taken."""

Array = NDArray[np.float64]


def demodulate(code: RailCode, signal: Signal) -> SoftBits:
    """Soft bits of a tape of rails; nothing if no train of steps is found."""
    rate_hz = signal.sample_rate_hz
    highest_hz = max(code.tones_hz)
    if highest_hz >= rate_hz / 2 or signal.frames < code.group_s * rate_hz / 2:
        return SoftBits([])
    tracks = listen(signal, code.rails, hop_of(highest_hz, code.burst_s, rate_hz))
    heard = [
        burst_onsets(tone, noise, BurstLengths.of(code, tone_hz, tracks.hop_s))
        for (_, tone_hz), tone, noise in zip(code.rails, tracks.tones, tracks.noises, strict=True)
    ]
    heard = _not_leaked(heard, tracks.tones, max(1, round(code.burst_s / tracks.hop_s)))
    steps = together(heard, code.step_s / tracks.hop_s)
    train = follow(code, steps, tracks.pace)
    return _read(code, tracks, train)


def together(rails: list[ClockBursts], step: float) -> ClockBursts:
    """Onsets of all rails in one: those that belong to one step are one, as long as the loudest of them.

    An end mark stands on both tracks, so two of them must be as long as that.

    Args:
        rails: onsets of each.
        step: in hops.
    """
    times = np.concatenate([rail.times for rail in rails])
    if times.size == 0:
        return ClockBursts.none()
    order = np.argsort(times, kind="stable")
    times = times[order]
    power, strength, mark, end = (
        np.concatenate([getattr(rail, figure) for rail in rails])[order]
        for figure in ("power", "strength", "mark", "end")
    )
    firsts: list[int] = []
    for place, time in enumerate(times.tolist()):
        if not firsts or time - times[firsts[-1]] > SAME_BURST_SHARE * step:
            firsts.append(place)
    kept: list[int] = []
    middles: list[float] = []
    ends: list[bool] = []
    for first, beyond in zip(firsts, [*firsts[1:], times.size], strict=True):
        kept.append(first + int(np.argmax(power[first:beyond])))
        middles.append(float(np.average(times[first:beyond], weights=power[first:beyond])))
        ends.append(bool(np.count_nonzero(end[first:beyond]) > 1))
    return ClockBursts(np.array(middles), power[kept], strength[kept], mark[kept], np.array(ends))


def _not_leaked(heard: list[ClockBursts], tones: Sequence[NDArray[np.complex128]], burst: int) -> list[ClockBursts]:
    """The onsets of each rail but those where another is far louder meanwhile: its tone or the click of its keying."""
    energies = [np.concatenate([[0.0], np.cumsum(tone.real**2 + tone.imag**2)]) for tone in tones]
    kept = []
    for own, bursts in zip(energies, heard, strict=True):
        first = bursts.times.astype(np.int64)
        beyond = np.minimum(first + burst, own.size - 1)
        loudest = np.max([energy[beyond] - energy[first] for energy in energies], axis=0)
        kept.append(bursts.only(own[beyond] - own[first] > LEAK_SHARE * loudest))
    return kept


def _read(code: RailCode, tracks: ToneTracks, train: Train) -> SoftBits:
    onsets = train.onsets.ravel()
    events = events_of(train, tracks.pace, tracks.hop_s)
    known = np.isfinite(onsets)
    width = code.bits_a_step
    if not known.any():
        return SoftBits(np.zeros(len(train.onsets) * code.group_bits), 0.0, events)
    steps = np.arange(onsets.size)
    places = np.interp(steps, steps[known], onsets[known])
    heard = train.heard.ravel() & known
    told = _rails_told(code, tracks, places, heard)
    silent = np.where(heard, SILENT, SILENT_UNHEARD)
    told = np.logaddexp(np.log1p(-silent) + told, np.log(silent))
    values = np.empty((onsets.size, width))
    numbers = np.arange(len(code.rails))
    for bit in range(width):
        ones = (numbers >> (width - 1 - bit)) & 1 > 0
        values[:, bit] = np.logaddexp.reduce(told[ones]) - np.logaddexp.reduce(told[~ones])
    values = np.where(known[:, None], np.clip(values, -CERTAIN, CERTAIN), 0.0)
    pace = tracks.pace[np.clip(np.rint(places).astype(np.int64), 0, tracks.pace.size - 1)]
    times_s = np.repeat((places + 0.5 * code.burst_s * pace) * tracks.hop_s, width)
    groups = (len(train.onsets), code.data_steps * width)
    values, times_s = (flat.reshape(groups)[:, : code.group_bits] for flat in (values, times_s))
    if code.bit_order == "lsb":
        values, times_s = values[:, ::-1], times_s[:, ::-1]
    return SoftBits(values.ravel(), times_s.ravel(), events)


def _rails_told(code: RailCode, tracks: ToneTracks, places: Array, heard: NDArray[np.bool_]) -> Array:
    """Log-likelihood ratio of tone against silence on each rail in each step, shape (rails, steps)."""
    nearest = np.clip(np.rint(places).astype(np.int64), 0, tracks.pace.size - 1)
    pace = tracks.pace[nearest]
    edge_s = code.edge_ms / 1000
    first_s, last_s = edge_s, code.burst_s - edge_s
    powers, looks, hops = [], [], []
    for (_, tone_hz), tone in zip(code.rails, tracks.tones, strict=True):
        count = max(1, round((last_s - first_s) * tone_hz / LOOK_CYCLES))
        bounds = places + np.linspace(first_s, last_s, count + 1)[:, None] * pace
        summed = sums(running_sum(tone), bounds)
        powers.append((summed.real**2 + summed.imag**2).sum(axis=0))
        looks.append(count)
        hops.append((last_s - first_s) * pace / count)
    noises = [noise[nearest] for noise in tracks.noises]
    # Power of one hop of steady tone, were the rail to sound.
    tones = np.array(
        [
            np.maximum(power / (count * size**2) - noise / size, 0.0)
            for power, count, size, noise in zip(powers, looks, hops, noises, strict=True)
        ]
    )
    levels = _levels(tones, heard)
    told = np.empty(tones.shape)
    for rail, (power, count, size, noise) in enumerate(zip(powers, looks, hops, noises, strict=True)):
        gain = levels[rail] * count * size / noise
        fades = [
            np.log(often) + tone_against_silence(power / (size * noise), fade * gain, count) for fade, often in FADES
        ]
        told[rail] = np.logaddexp.reduce(fades)
    return told


def _levels(tones: Array, heard: NDArray[np.bool_]) -> Array:
    """The level of each rail in each step, taken from the bursts around that were on it; shape of ``tones``."""
    from scipy.ndimage import median_filter

    usual = np.ones(len(tones))
    for _ in range(2):
        sounding = np.argmax(tones / usual[:, None], axis=0)
        own = [heard & (sounding == rail) for rail in range(len(tones))]
        found = np.array([np.median(tones[rail, mine]) if mine.any() else 0.0 for rail, mine in enumerate(own)])
        usual = np.maximum(np.where(found > 0, found, found.max(initial=0.0)), 1e-30)
    steps = np.arange(tones.shape[1])
    levels = np.empty(tones.shape)
    for rail, mine in enumerate(own):
        if mine.any():
            smooth = median_filter(tones[rail, mine], NEIGHBOURS, mode="nearest")
            levels[rail] = np.interp(steps, steps[mine], smooth)
        else:
            levels[rail] = usual[rail]
    return np.maximum(levels, 1e-30)
