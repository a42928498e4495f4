"""How a sound input hears a clocked tape: envelopes, clock bursts, and the data in the window of each."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from ...contracts.signal import Signal
from ...contracts.soft_bits import CERTAIN, LOST, SoftBits
from .burst_onsets import BurstLengths, burst_onsets
from .clock_flywheel import Train, events_of, follow
from .envelope_likelihood import tone_against_silence
from .tone_tracks import LOOK_CYCLES, ToneTracks, hop_of, listen, running_sum, sums

if TYPE_CHECKING:
    from .clocked import Clocked

SWALLOWED = 1e-3
"""Chance that a dropout swallows the data burst of a step whose clock was heard: a modelling prior, which bounds
how sure silence can be."""
SWALLOWED_WITH_CLOCK = math.exp(-LOST / 2)
"""The same where the clock was not heard either: silence then says nothing."""

Array = NDArray[np.float64]


def demodulate(code: Clocked, signal: Signal) -> SoftBits:
    """Soft bits of a clocked tape; nothing if no train of clock bursts is found."""
    rate_hz = signal.sample_rate_hz
    if code.tone_hz >= rate_hz / 2:
        return SoftBits([])
    hop = hop_of(code.tone_hz, code.burst_s, rate_hz)
    if signal.frames < code.group_s * rate_hz / 2:
        return SoftBits([])
    clock = 0 if code.clock_track == "left" else 1
    tracks = listen(signal, [(clock, code.tone_hz), (1 - clock, code.tone_hz)], hop)
    lengths = BurstLengths.of(code, code.tone_hz, tracks.hop_s)
    train = follow(code, burst_onsets(tracks.tones[0], tracks.noises[0], lengths), tracks.pace)
    return _read(code, tracks, train)


def _read(code: Clocked, tracks: ToneTracks, train: Train) -> SoftBits:
    from scipy.ndimage import median_filter

    onsets = train.onsets.ravel()
    known = np.isfinite(onsets)
    if not known.any():
        return SoftBits(np.zeros(onsets.size), 0.0, events_of(train, tracks.pace, tracks.hop_s))
    steps = np.arange(onsets.size)
    places = np.interp(steps, steps[known], onsets[known])
    nearest = np.clip(np.rint(places).astype(np.int64), 0, tracks.pace.size - 1)
    pace = tracks.pace[nearest]
    edge_s = code.edge_ms / 1000
    looks = max(1, round((code.lead_s + code.burst_s - 2 * edge_s) * code.tone_hz / LOOK_CYCLES))

    def looked(total: NDArray[np.complex128], first_s: float, last_s: float) -> tuple[Array, Array]:
        bounds = places + np.linspace(first_s, last_s, looks + 1)[:, None] * pace
        summed = sums(total, bounds)
        return (summed.real**2 + summed.imag**2).sum(axis=0), (last_s - first_s) * pace / looks

    clock_power, clock_hops = looked(running_sum(tracks.tones[0]), edge_s, code.burst_s - edge_s)
    power, hops = looked(running_sum(tracks.tones[1]), edge_s - code.lead_s, code.burst_s - edge_s)
    # Power of one hop of steady tone, from the clocks heard around each step.
    tone = clock_power / (looks * clock_hops**2) - tracks.noises[0][nearest] / clock_hops
    heard = train.heard.ravel() & known
    tone = np.where(heard, tone, np.median(tone[heard if heard.any() else known]))
    tone = np.maximum(median_filter(tone, 9, mode="nearest"), 1e-30)
    noise = tracks.noises[1][nearest]
    ratio = _balance((power / (looks * hops**2) - noise / hops) / tone, known)
    gain = ratio * tone * looks * hops / noise
    told = tone_against_silence(power / (hops * noise), gain, looks)
    swallowed = np.where(heard, SWALLOWED, SWALLOWED_WITH_CLOCK)
    values = np.logaddexp(np.log1p(-swallowed) + np.minimum(told, CERTAIN), np.log(swallowed))
    values = np.where(known, np.clip(values, -CERTAIN, CERTAIN), 0.0)
    times_s = (places + 0.5 * code.burst_s * pace) * tracks.hop_s
    values, times_s = values.reshape(train.onsets.shape), times_s.reshape(train.onsets.shape)
    if code.bit_order == "lsb":
        values, times_s = values[:, ::-1], times_s[:, ::-1]
    return SoftBits(values.ravel(), times_s.ravel(), events_of(train, tracks.pace, tracks.hop_s))


def _balance(shares: Array, known: NDArray[np.bool_]) -> float:
    """Power of the data track's ones re the clock track's bursts; 1 if there seem to be no ones."""
    shares = shares[known]
    ones = shares[shares > 0.1]
    if ones.size == 0:
        return 1.0
    high = float(np.quantile(ones, 0.75))
    return float(np.median(ones[ones > 0.25 * high]))
