"""The rival of the chain: what anybody would write with scipy, in double precision, the whole tape at once.

Every stage does what the channel model of that name does with the plainest tool: ``lfilter`` for filters,
``oaconvolve`` for long ones, ``numpy.interp`` for speed and skew, numpy's generator for noise. It is spared what has no
plain form: it saturates without oversampling, leaves out scrape flutter, prints through from a turn of fixed length,
and lets a lifted tape lose as much at all frequencies as at the tone's.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...contracts.channel_model import Channel

Tracks = NDArray[np.float64]
"""Two tracks, shape (2, frames)."""

Told = Mapping[str, Any]
"""The parameters of a stage."""

MM_PER_S = 47.6
TONE_HZ = 3000.0
"""Where a lift is weighed."""

_TURN_S = 2.6
_COARSE = 64
"""Slow changes are worked out every so many frames."""


def degrade(channel: Channel, tracks: Tracks, rate_hz: int, rng: np.random.Generator) -> Tracks:
    """``tracks`` after every stage of ``channel``.

    Raises:
        KeyError: a stage that has no plain form here.
    """
    for stage in channel.stages:
        tracks = STAGES[stage.name](stage.arguments(), tracks, rate_hz, rng)
    return tracks


def level(told: Told, tracks: Tracks, rate_hz: int, rng: np.random.Generator) -> Tracks:
    half_db = (told["difference_db"] + told["difference_db_sd"] * rng.standard_normal()) / 2
    sign = -1.0 if rng.random() < told["inverted_chance"] else 1.0
    return np.asarray(tracks * (sign * 10 ** ((told["gain_db"] + np.array([[half_db], [-half_db]])) / 20)))


def saturation(told: Told, tracks: Tracks, rate_hz: int, rng: np.random.Generator) -> Tracks:
    from scipy.signal import lfilter

    # tanh(a sin) has a third harmonic of a^2 / 12: 3 % at a = 0.6; its limit is the square wave, 4 / pi.
    drive = 0.6 * 10 ** (told["drive_db"] / 20)
    lift = 4 / math.pi / 0.6 * 10 ** (-told["high_limit_db"] / 20)
    pole = _emphasis_pole(lift, 10_000 / rate_hz)
    raised = lfilter([drive / (1 - pole), -drive * pole / (1 - pole)], [1.0], tracks)
    return np.asarray(lfilter([(1 - pole) / drive], [1.0, -pole], np.tanh(raised)))


@lru_cache
def _emphasis_pole(lift: float, cycles: float) -> float:
    turn, low, high = np.exp(-2j * np.pi * cycles), 0.0, 1 - 1e-6
    for _ in range(50):
        pole = (low + high) / 2
        low, high = (pole, high) if abs(1 - pole * turn) / (1 - pole) < lift else (low, pole)
    return pole


def drift(told: Told, tracks: Tracks, rate_hz: int, rng: np.random.Generator) -> Tracks:
    frames, decks = tracks.shape[1], told["decks"]
    offset = told["speed_percent"] + told["speed_percent_limit"] * float(np.sum(rng.uniform(-1, 1, decks)))
    most = math.ceil(frames / (1 + offset / 100 - 0.03))
    times_s = np.arange(0, most + _COARSE, _COARSE) / rate_hz
    speed = np.full(times_s.size, 1 + offset / 100)
    for _ in range(decks):
        for part_hz, share in ((6.9, 0.8), (1.26, 0.45), (0.5, 0.4)):
            peak = told["weighted_percent"] / 100 * share / math.sqrt(decks)
            speed += peak * np.sin(2 * np.pi * (part_hz * times_s + rng.random()))
    advance = np.interp(np.arange(most), np.arange(times_s.size) * _COARSE, speed)
    places = np.cumsum(advance) - advance[0]
    places = places[: int(np.searchsorted(places, frames - 1, side="right"))]
    grid = np.arange(frames)
    return np.stack([np.interp(places, grid, row) for row in tracks])


def modulation_noise(told: Told, tracks: Tracks, rate_hz: int, rng: np.random.Generator) -> Tracks:
    from scipy.signal import butter, lfilter

    cut_hz = told["width_hz"] / 2 / 1.11  # the noise bandwidth of a second-order Butterworth is 1.11 times its corner
    b, a = butter(2, cut_hz / (rate_hz / 2))
    white = rng.standard_normal(tracks.shape)
    noise = lfilter(b, a, white) * math.sqrt(rate_hz / told["width_hz"])
    return np.asarray(tracks * (1 + 10 ** (told["level_db"] / 20) * noise))


def print_through(told: Told, tracks: Tracks, rate_hz: int, rng: np.random.Generator) -> Tracks:
    from scipy.signal import butter, lfilter

    turn = round(_TURN_S * rate_hz)
    echoes = np.zeros_like(tracks)
    echoes[:, turn:] += tracks[:, :-turn]
    echoes[:, :-turn] += tracks[:, turn:]
    b, a = butter(1, np.array([186.0, 1076.0]) / (rate_hz / 2), "bandpass")
    return np.asarray(tracks + 10 ** (told["level_db"] / 20) * lfilter(b, a, echoes))


def residue(told: Told, tracks: Tracks, rate_hz: int, rng: np.random.Generator) -> Tracks:
    from scipy.signal import butter, lfilter

    b, a = butter(1, np.array([150.0, 1500.0]) / (rate_hz / 2), "bandpass")
    old = lfilter(b, a, rng.standard_normal(tracks.shape))
    frames = tracks.shape[1]
    grid = np.arange(0, frames + rate_hz / 4, rate_hz / 4)
    loud = np.stack([np.interp(np.arange(frames), grid, 1 + 0.6 * rng.standard_normal(grid.size)) for _ in range(2)])
    old *= loud
    return np.asarray(tracks + old * (math.sqrt(0.5 / np.mean(old**2)) * 10 ** (told["level_db"] / 20)))


def dropouts(told: Told, tracks: Tracks, rate_hz: int, rng: np.random.Generator) -> Tracks:
    struck = tracks.copy()
    seconds = tracks.shape[1] / rate_hz
    for hit in (0, 1):
        per_s = told["per_minute"] / 60 * (told["inner_share"] if hit else 1.0)
        for start_s in rng.uniform(0, seconds, rng.poisson(per_s * seconds)):
            length_s = told["length_ms"] / 1000 * math.exp(told["length_sigma"] * rng.standard_normal())
            lift_um = max(told["lift_um"] * math.exp(told["lift_sigma"] * rng.standard_normal()), told["least_um"])
            loss_db = 54.575 * lift_um * TONE_HZ / (1000 * MM_PER_S)
            if rng.random() < told["missing_share"]:
                loss_db = told["missing_db"]
            edge_s = length_s / 4
            first, last = (round((start_s + at_s) * rate_hz) for at_s in (-edge_s / 2, length_s + edge_s / 2))
            span = slice(max(first, 0), max(last, 0))
            since_s = np.arange(span.start, min(span.stop, tracks.shape[1])) / rate_hz - start_s
            near = np.clip(np.minimum(since_s, length_s - since_s) / edge_s + 0.5, 0, 1)
            depth = 0.5 - 0.5 * np.cos(np.pi * near)
            both = hit == 1 and rng.random() < told["both_share"]
            struck[slice(None) if both else slice(hit, hit + 1), span] *= 10 ** (-loss_db * depth / 20)
    return struck


def contact(told: Told, tracks: Tracks, rate_hz: int, rng: np.random.Generator) -> Tracks:
    frames, reach_um = tracks.shape[1], 3 * told["fluctuation_um"]
    near, far = (_filtered(_spacing(um, rate_hz), tracks) for um in (-reach_um, reach_um))
    grid = np.arange(0, frames + rate_hz / 40, rate_hz / 40)
    share = np.interp(np.arange(frames), grid, np.clip(0.5 + rng.standard_normal(grid.size) / 6, 0, 1))
    return near + share * (far - near)


def head_losses(told: Told, tracks: Tracks, rate_hz: int, rng: np.random.Generator) -> Tracks:
    return _filtered(_spacing(told["spacing_um"] - told["aligned_spacing_um"], rate_hz), tracks)


def azimuth(told: Told, tracks: Tracks, rate_hz: int, rng: np.random.Generator) -> Tracks:
    arcmin = told["azimuth_arcmin"] + told["azimuth_arcmin_sd"] * rng.standard_normal()
    slope = math.tan(math.radians(arcmin / 60))
    frames = tracks.shape[1]
    heard = _filtered(_leaning(slope, rate_hz), tracks)
    wander_s = told["wander_arcmin"] / 2 * math.radians(1 / 60) * 0.9 / MM_PER_S
    late_s = slope * 0.9 / MM_PER_S + wander_s * np.sin(2 * np.pi * (1.2 * np.arange(frames) / rate_hz + rng.random()))
    heard[1] = np.interp(np.arange(frames) - late_s * rate_hz, np.arange(frames), heard[1])
    return heard


def skew(told: Told, tracks: Tracks, rate_hz: int, rng: np.random.Generator) -> Tracks:
    grid = np.arange(tracks.shape[1])
    late = np.interp(grid - told["skew_us"] * 1e-6 * rate_hz, grid, tracks[1], left=0.0)
    return np.stack([tracks[0], late])


def crosstalk(told: Told, tracks: Tracks, rate_hz: int, rng: np.random.Generator) -> Tracks:
    from scipy.signal import lfilter

    share = 10 ** (-told["separation_db"] / 20)
    corners = ((told["low_hz"], told["low_hz"] / 6), (told["high_hz"], 4 * told["high_hz"]))
    b, a = np.ones(1), np.ones(1)
    for zero_hz, pole_hz in corners:
        b, a = (
            np.convolve(row, [1.0, -math.exp(-2 * math.pi * hz / rate_hz)]) for row, hz in ((b, zero_hz), (a, pole_hz))
        )
    turn = np.exp(-2j * np.pi * 1000 / rate_hz) ** np.arange(3)
    return np.asarray(tracks + lfilter(b * share * abs(a @ turn / (b @ turn)), a, tracks[::-1]))


def replay_amp(told: Told, tracks: Tracks, rate_hz: int, rng: np.random.Generator) -> Tracks:
    from scipy.signal import butter, lfilter

    for cut_hz, kind in ((told["low_hz"], "high"), (told["high_hz"], "low")):
        b, a = butter(told["order"], cut_hz / (rate_hz / 2), kind)
        tracks = lfilter(b, a, tracks)
    return level(told, tracks, rate_hz, rng)


def hum(told: Told, tracks: Tracks, rate_hz: int, rng: np.random.Generator) -> Tracks:
    turns = told["mains_hz"] / rate_hz * np.arange(tracks.shape[1]) + rng.random()
    return np.asarray(tracks + 10 ** (told["level_db"] / 20) * np.sin(2 * np.pi * turns))


def hiss(told: Told, tracks: Tracks, rate_hz: int, rng: np.random.Generator) -> Tracks:
    sigma = math.sqrt(0.5 * 10 ** (told["level_db"] / 10) * rate_hz / 2 / 19_980)
    return tracks + sigma * rng.standard_normal(tracks.shape)


def clip(told: Told, tracks: Tracks, rate_hz: int, rng: np.random.Generator) -> Tracks:
    return np.clip(tracks, -told["ceiling"], told["ceiling"])


def _filtered(taps: Tracks, tracks: Tracks) -> Tracks:
    from scipy.signal import oaconvolve

    return np.asarray(oaconvolve(tracks, taps[None], mode="same", axes=1))


@lru_cache
def _spacing(um: float, rate_hz: int) -> Tracks:
    from scipy.signal import firwin2

    hz = np.linspace(0, rate_hz / 2, 257)
    return np.asarray(firwin2(65, hz, np.exp(-2 * np.pi * um * np.minimum(hz, 20_000) / (1000 * MM_PER_S)), fs=rate_hz))


def _leaning(slope: float, rate_hz: int) -> Tracks:
    from scipy.signal import firwin2

    hz = np.linspace(0, rate_hz / 2, 257)
    return np.asarray(firwin2(33, hz, np.sinc(0.6 * slope * hz / MM_PER_S), fs=rate_hz))


STAGES: dict[str, Callable[[Told, Tracks, int, np.random.Generator], Tracks]] = {
    stage.__name__: stage
    for stage in (
        *(level, saturation, drift, modulation_noise, print_through, residue, dropouts, contact, head_losses, azimuth),
        *(skew, crosstalk, replay_amp, hum, hiss, clip),
    )
}
