"""What the carriers say of the tape transport: speed, wow and flutter, skew."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .figures import Curve, Figure, Finding, Missing, around, of_blocks
from .flutter_meter import BLOCK_S, SETTLE_S, Waver, band, reading, unweighted, weighted
from .mechanics import FlutterLine, WaverSpectrum, bands, lines, waver_spectrum
from .skew import SkewSeries, azimuth_arcmin, azimuth_loss_db, blocks_of, wander_square
from .tone import Baseband
from .weighting import flutter_weighting

_SPEED_BLOCK_S = 15.0
"""Whole turns of reels and rollers leave little of their waver in the mean; parts of turns do."""

LINE_UP_BLOCK_S = 3.0
"""Of the line-up tone, which has a few turns of the reels only: what they leave in its mean shows between blocks."""

_SPEED_FLOOR_PERCENT = 0.0005
"""A steady tone is read to this."""

_SKEW_FLOOR_US = 0.05
_WANDER_FLOOR_US = 0.02


@dataclass(frozen=True, slots=True, eq=False)
class FlutterFindings:
    """What the meter found.

    Attributes:
        findings: figures and curves.
        lines: components that stand out.
        spectrum: of the deviation, None where the tone was too short.
    """

    findings: tuple[Finding, ...]
    lines: tuple[FlutterLine, ...]
    spectrum: WaverSpectrum | None


def speed_error(heard: Sequence[Waver], nominal_hz: float, block_s: float = _SPEED_BLOCK_S) -> Finding:
    """How far the speed is off, from tones of known frequency; stretches of ``block_s`` are taken as independent."""
    name = "speed_error_percent"
    readings = []
    for one in heard:
        hz = one.mean_hz * (1 + one.percent / 100)
        blocks = int(hz.size / (block_s * one.rate_hz))
        readings += [100 * (float(part.mean()) / nominal_hz - 1) for part in np.array_split(hz, max(1, blocks))]
    if len(readings) < 2:
        return Missing(name, f"there are no {2 * block_s:g} s of the test tone")
    method = "mean frequency of the test tone; the clocks of both sound devices are part of it"
    return of_blocks(name, readings, method, _SPEED_FLOOR_PERCENT)


def flutter(heard: Sequence[Waver], noise: tuple[float, float] = (0.0, 0.0)) -> FlutterFindings:
    """Wow and flutter, weighted and not, with its spectrum.

    Args:
        heard: the tone, stretch by stretch.
        noise: what noise about the tone alone makes the meter read, weighted and not; taken off in power.
    """
    names = ("flutter_weighted_percent", "flutter_unweighted_percent")
    enough = [one for one in heard if one.percent.size >= (2 * SETTLE_S + 2 * BLOCK_S) * one.rate_hz]
    if not enough:
        reason = f"there are no {2 * SETTLE_S + 2 * BLOCK_S:g} s of a steady tone"
        return FlutterFindings(tuple(Missing(name, reason) for name in names), (), None)
    rate_hz = enough[0].rate_hz
    told = (
        (names[0], weighted, "zero to peak, 2-sigma, weighted per IEC 60386 / AES6-2008"),
        (names[1], unweighted, "zero to peak, 2-sigma, 0.2 to 200 Hz unweighted"),
    )
    findings: list[Finding] = []
    for (name, filtered, method), share in zip(told, noise, strict=True):
        found = reading(name, [filtered(one) for one in enough], rate_hz, method)
        if found is not None:
            findings.append(_without(found, share))
    spectrum = waver_spectrum([one.percent for one in enough], rate_hz)
    if spectrum is None:
        return FlutterFindings(tuple(findings), (), None)
    middles, rms = bands(spectrum)
    heights = tuple(rms.tolist())
    findings.append(
        Curve(
            "flutter_spectrum_percent",
            "frequency_hz",
            tuple(middles.round(4).tolist()),
            *(heights, *_spread(spectrum, middles, rms)),
            "rms deviation in thirds of an octave",
        )
    )
    return FlutterFindings(tuple(findings), lines(spectrum), spectrum)


def _without(found: Figure, noise: float) -> Figure:
    value, low, high = (math.sqrt(max(0.0, one**2 - noise**2)) for one in (found.value, found.low, found.high))
    return Figure(found.name, value, low, high, f"{found.method}; {noise:.2g} % of noise about the tone taken off")


def _spread(
    spectrum: WaverSpectrum, middles: NDArray[np.float64], rms: NDArray[np.float64]
) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Lower and upper ends for the spectrum, by the scatter of its segments."""
    each = np.array([bands(WaverSpectrum(spectrum.hz, segment[None, :]))[1] ** 2 for segment in spectrum.segments])
    count = max(2.0, 0.75 * len(each))
    half = 2.1 * each.std(axis=0) / np.sqrt(count)
    low, high = np.sqrt(np.maximum(rms**2 - half, 0)), np.sqrt(rms**2 + half)
    return tuple(low.tolist()), tuple(high.tolist())


def noise_share(pairs: Sequence[Sequence[Baseband]]) -> tuple[float, float]:
    """What noise about the tone makes the meter read, weighted and not, in % (zero to peak, 2-sigma).

    Noise beside the tone turns its phase by a random amount whose rate rises with the distance from the tone: it is
    read between 210 and 250 Hz, where waver of the speed has ended, and continued downwards by that law.
    """
    shares = []
    for tracks in pairs:
        advance = np.sum([track.values[1:] * track.values[:-1].conj() for track in tracks], axis=0)
        rate_hz = tracks[0].rate_hz
        hz = np.angle(advance) * rate_hz / (2 * np.pi)
        size = round(rate_hz)
        window = np.hanning(size)
        parts = [hz[i : i + size] for i in range(0, hz.size - size + 1, size)]
        if not parts:
            continue
        power = np.median([np.abs(np.fft.rfft((part - part.mean()) * window)) ** 2 for part in parts], axis=0) / 0.693
        power *= 2 / (rate_hz * float((window**2).sum()))
        at = np.asarray(np.fft.rfftfreq(size, 1 / rate_hz), np.float64)
        beyond = (at >= 210) & (at <= 250)
        law = float((power[beyond] / at[beyond] ** 2).mean())
        inside = (at >= 0.5) & (at <= 200)
        density = law * at[inside] ** 2
        rms_hz = [
            math.sqrt(float((density * weight(at[inside]) ** 2).sum() * at[1])) for weight in (flutter_weighting, band)
        ]
        shares.append([1.96 * 100 * one / tracks[0].centre_hz for one in rms_hz])
    if not shares:
        return 0.0, 0.0
    weighted_share, unweighted_share = (float(one) for one in np.median(shares, axis=0))
    return weighted_share, unweighted_share


def skew(series: Sequence[SkewSeries], tone_hz: float, leak_error: float) -> list[Finding]:
    """Skew, its wander, and the azimuth error that they imply.

    Args:
        tone_hz: the tone they were read from.
        leak_error: standard error of the share of one track that is heard on the other: what is not taken off of it
            turns the phase by as many radians, and makes a change look larger or smaller by that share.
    """
    blocks = blocks_of([one.us for one in series])
    if len(blocks) < 2:
        reason = "there are no 10 s of a tone on both tracks"
        return [Missing(name, reason) for name in ("skew_us", "skew_wander_us", "azimuth_error_arcmin")]
    own = of_blocks("skew_us", [float(block.mean()) for block in blocks], "right after left", _SKEW_FLOOR_US)
    turned_us = 1.96 * leak_error / (2 * math.pi * tone_hz) * 1e6
    static = around(own.name, own.value, math.hypot(own.high - own.value, turned_us), own.method)
    squares = np.array([wander_square(one) for one in blocks])
    square = of_blocks("skew_wander_us", squares)
    method = "peak to peak of a sine of the same rms value, below 4 Hz, noise taken off"
    value, low, high = (2 * math.sqrt(2 * max(0.0, one)) for one in (square.value, square.low, square.high))
    half = math.hypot((high - low) / 2, 1.96 * leak_error * value, _WANDER_FLOOR_US)
    wander = Figure(square.name, value, max(0.0, value - half), value + half, method)
    angle, low, high = (azimuth_arcmin(us) for us in (static.value, static.low, static.high))
    loss_db = azimuth_loss_db(angle, 10_000.0)
    told = f"angle between the two heads that makes this skew (tracks 0.9 mm apart); costs {loss_db:.2f} dB at 10 kHz"
    return [
        static,
        wander,
        Figure("azimuth_error_arcmin", angle, low, high, told),
    ]
