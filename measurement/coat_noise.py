"""What the coat adds to a sound: noise that comes and goes with it, and echoes from the neighbouring turns."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from .carrier_losses import Loss, LossSeries
from .figures import Figure, Finding, Missing, of_blocks, student_t
from .layout import CARRIER_HZ, sections
from .playing import Playing
from .silence import Noise
from .tone import baseband

LOWEST_HZ, HIGHEST_HZ = 120.0, 480.0
"""Below, the contact of head and tape wavers as well; above, a series of a thousand readings a second ends."""

_BLOCK_S = 0.5
_FEWEST_BLOCKS = 30
_GROUPS = 10
_BESIDE_S = 0.1
_BAND_HZ = 40.0
_CONTINUED_KNOWN_DB = 0.15
"""What is continued below 120 Hz is a third of the whole, and known to a tenth of itself (modelling prior)."""

SHORTEST_TURN_S = 1.4
"""A turn of an empty hub of 11 mm radius is 1.45 s of tape: an echo of a sound lasts at least so long after it."""

STRONGEST_HZ = 446.0
"""Where a tape of 17 um prints most: waves 2 pi times as long as it is thick (common practice)."""

_ECHO_WIDTH_HZ = 4.0
_WAVERS_WITHIN = 2.5
_LAW_KNOWN_DB = 1.0
_SEEN = 4.0
_BELIEVED_BELOW = 3.0
_HANN_HZ = 1.5
"""Bins of a Hann window that go together."""


def modulation_noise(series: Sequence[LossSeries], dropouts: Sequence[Loss], track: str) -> Finding:
    """Power of what noise does to the amplitude of a carrier, on both sides of it, re the carrier.

    Args:
        series: the lower carrier on one track, stretch by stretch.
        dropouts: those of that track; blocks beside them are left out.
    """
    name = f"modulation_noise_{track}_db"
    densities = [density for one in series for density in _densities(one, dropouts)]
    if len(densities) < _FEWEST_BLOCKS:
        return Missing(name, "there are no 15 s of a carrier without dropouts")
    hz = np.asarray(np.fft.rfftfreq(round(_BLOCK_S * series[0].rate_hz), 1 / series[0].rate_hz), np.float64)
    whole = _total(np.mean(densities, axis=0), hz)
    groups = [_total(np.mean(group, axis=0), hz) for group in np.array_split(np.array(densities), _GROUPS)]
    spread = of_blocks(name, groups)
    half = spread.high - spread.value
    if whole <= 1.5 * half:
        limit_db = 10 * math.log10(max(whole, 0.0) + half)
        return Missing(name, f"no noise that comes with the carrier stands out: it is below {limit_db:.0f} dB")
    value, low, high = (10 * math.log10(max(one, 1e-12)) for one in (whole, whole - half, whole + half))
    method = "noise in the amplitude of 3150 Hz re that tone, both sides together; below 120 Hz continued"
    low, high = (
        value - math.hypot(value - low, _CONTINUED_KNOWN_DB),
        value + math.hypot(high - value, _CONTINUED_KNOWN_DB),
    )
    return Figure(name, value, low, high, method)


def _densities(one: LossSeries, dropouts: Sequence[Loss]) -> list[NDArray[np.float64]]:
    """Power a Hz of the amplitude re its mean, hiss taken off, of each block without a dropout."""
    size = round(_BLOCK_S * one.rate_hz)
    window = np.hanning(size)
    hz = np.fft.rfftfreq(size, 1 / one.rate_hz)
    scale = 2 / (one.rate_hz * float((window**2).sum()))
    found = []
    for first in range(0, one.share.size - size + 1, size):
        start_s = one.start_s + first / one.rate_hz - _BESIDE_S
        end_s = start_s + _BLOCK_S + 2 * _BESIDE_S
        if any(loss.start_s - loss.length_s < end_s and loss.end_s + loss.length_s > start_s for loss in dropouts):
            continue
        amplitude = np.sqrt(one.share[first : first + size].astype(np.float64))
        amplitude = amplitude / amplitude.mean() - 1
        power = np.abs(np.fft.rfft((amplitude - amplitude.mean()) * window)) ** 2 * scale
        # Hiss is white beyond the readings' own rate: averaging and thinning it out leaves its density as it was.
        hiss = float(one.noise[first : first + size].mean()) / one.noise_hz
        found.append(np.asarray((power - hiss) / np.sinc(hz / one.rate_hz) ** 2))
    return found


def _total(density: NDArray[np.float64], hz: NDArray[np.float64]) -> float:
    """Power from 0 to 480 Hz, below 120 Hz continued as exp(a + b f^2) from what lies above."""
    inside = (hz >= LOWEST_HZ) & (hz <= HIGHEST_HZ)
    edges = np.arange(LOWEST_HZ, 3 * LOWEST_HZ + 1, _BAND_HZ)
    bands = [density[(hz >= low) & (hz < low + _BAND_HZ)].mean() for low in edges[:-1]]
    below = np.arange(0.0, LOWEST_HZ, hz[1])
    if min(bands) > 0:
        bend, height = np.polyfit((edges[:-1] + _BAND_HZ / 2) ** 2, np.log(bands), 1)
        continued = np.exp(height + min(bend, 0.0) * below**2) if bend < 0 else np.full(below.size, np.mean(bands))
    else:
        continued = np.full(below.size, np.mean(bands[:2]))
    return float((density[inside].sum() + continued.sum()) * hz[1])


def print_through(
    play: Playing, quiet: tuple[Noise, Noise] | None, track: int, name: str, rms_percent: float
) -> Finding | None:
    """Echo of the lower carrier in the silence just after and just before it, raised to where echoes are strongest.

    None where the capture does not hold the silence and a carrier beside it.

    Args:
        rms_percent: by how much the speed wavers, and with it the frequency of an echo.
    """
    figure = f"print_through_{name}_db"
    before, after = sections("carrier")
    silence = sections("silence")[0]
    ends = (
        (before, silence.start_s + 0.1, before.end_s + SHORTEST_TURN_S),
        (after, after.start_s - SHORTEST_TURN_S, silence.end_s - 0.1),
    )
    rate, row = play.signal.sample_rate_hz, play.samples[track]
    centre_hz = CARRIER_HZ[0] * play.located.speed
    half_hz = _ECHO_WIDTH_HZ + _WAVERS_WITHIN * rms_percent / 100 * centre_hz
    shares, noises, count = [], [], 0.0
    for carrier, start_s, end_s in ends:
        span = play.span(carrier)
        if span is None or quiet is None or play.span(silence) is None:
            continue
        first, last = (round(play.located.at(place) * rate) for place in (start_s, end_s))
        tone = baseband(row, rate, centre_hz, 20.0, *span)
        power = float(np.median(np.abs(tone.values) ** 2)) / 2
        echo, width_hz = _line_power(row[first:last], rate, centre_hz, half_hz)
        noise = quiet[track].density_at(centre_hz) * width_hz
        shares.append((echo - noise) / power)
        noises.append(noise / power)
        count += width_hz * (last - first) / rate / _HANN_HZ
    if not shares:
        return None
    share, noise_share = float(np.mean(shares)), float(np.mean(noises))
    if not noise_share and share <= 0:
        return Missing(figure, "the silence beside the carrier holds nothing at all, no noise and no echo")
    error = (noise_share + max(share, 0.0)) / math.sqrt(count)
    ratio = CARRIER_HZ[0] / STRONGEST_HZ
    raised_db = 20 * math.log10((1 + ratio**2) / (2 * ratio))
    if share < _SEEN * noise_share / math.sqrt(count):
        limit_db = (
            10 * math.log10(max(share, 0.0) + _BELIEVED_BELOW * noise_share / math.sqrt(count))
            + raised_db
            + _LAW_KNOWN_DB
        )
        return Missing(figure, f"no echo of the carrier stands out of the noise: it is below {limit_db:.0f} dB")
    value = 10 * math.log10(share) + raised_db
    half = math.hypot(4.343 * student_t(round(count)) * error / share, _LAW_KNOWN_DB)
    method = (
        f"echo of 3150 Hz re that tone, raised by {raised_db:.0f} dB to {STRONGEST_HZ:.0f} Hz, where tapes print most"
    )
    return Figure(figure, value, value - half, value + half, method)


def _line_power(row: NDArray[np.float32], sample_rate_hz: int, centre_hz: float, half_hz: float) -> tuple[float, float]:
    """Mean square about a frequency, and the width in Hz that was added up."""
    window = np.hanning(row.size)
    power = np.abs(np.fft.rfft(row * window)) ** 2 * 2 / (row.size * float((window**2).sum()))
    hz = np.fft.rfftfreq(row.size, 1 / sample_rate_hz)
    near = np.abs(hz - centre_hz) <= half_hz
    return float(power[near].sum()), float(near.sum() * hz[1])
