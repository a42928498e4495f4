"""Levels, noise, hum, response and separation as figures."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from .distortion import CLIPS
from .figures import Curve, Figure, Finding, Missing, around, of_blocks, student_t
from .layout import LINE_UP_DB, LINE_UP_HZ, RESPONSE_DB, sections
from .playing import Playing
from .response import Responses
from .silence import Noise
from .skew import unmixed

SEPARATION_HZ = 1000.0
_FULL_SCALE = "re full scale of the recording at 315 Hz"
_LEAST_SEEN = 3.0

_UNKNOWN_LEAK_DB = 0.3
"""A neighbour 30 dB down adds so much to the same tone, or takes it off (common practice for the 30 dB)."""

_BLOCK_S = 0.5


def full_scale_db(play: Playing, response: Responses, track: int) -> tuple[float, float] | None:
    """Peak on the capture of a full-scale tone of 315 Hz in dB re full scale, and its standard error.

    From the response steps; where the tracks are not apart, or those steps not held, from the line-up tone, which is
    on both of them: what each track then hears of the other is not known.
    """
    at = np.flatnonzero(response.hz == LINE_UP_HZ)
    if play.mono or not at.size:
        return _line_up_db(play, track)
    return float(response.level_db[track, at[0]]) - RESPONSE_DB, float(response.error_db[track, at[0]])


def _line_up_db(play: Playing, track: int) -> tuple[float, float] | None:
    heard = play.step(sections("line_up")[0], LINE_UP_HZ)
    if heard is None:
        return None
    count = max(2, int(heard[track].values.size / (_BLOCK_S * heard[track].rate_hz)))
    power = [float(np.median(np.abs(part) ** 2)) for part in np.array_split(heard[track].values, count)]
    level_db = 10 * np.log10(np.maximum(power, 1e-20))
    error_db = math.hypot(float(level_db.std(ddof=1)) / math.sqrt(count), 0.0 if play.mono else _UNKNOWN_LEAK_DB)
    return float(np.median(level_db)) - LINE_UP_DB, error_db


def noise_findings(noise: Noise, track: str, reference: tuple[float, float] | None) -> list[Finding]:
    """Signal to noise, flat and A-weighted, and hum of one track.

    Args:
        reference: as ``full_scale_db``; None where no known tone was heard: then levels refer to full scale of the
            capture itself.
    """
    level_db, error_db = reference or (0.0, 0.0)
    told = _FULL_SCALE if reference else "re full scale of the capture"
    upper = "" if noise.highest_hz >= 20_000 else f", up to {noise.highest_hz:,.0f} Hz only"
    kind, sign = ("signal_to_noise", 1.0) if reference else ("noise", -1.0)
    findings: list[Finding] = []
    for powers, name, words in (
        (noise.flat, f"{kind}_{track}_db", f"flat, 20 Hz to 20 kHz{upper}, without hum"),
        (noise.weighted, f"{kind}_a_{track}_db", f"A-weighted (IEC 61672-1){upper}, without hum"),
    ):
        if not powers.min() > 1e-16:
            findings.append(Missing(name, "the silence of the capture holds digital zeros: it is no replay"))
            continue
        blocks_db = level_db - 10 * np.log10(powers / 0.5)
        own = of_blocks(name, sign * blocks_db, f"{told}; {words}")
        half = math.hypot(own.high - own.value, 1.96 * error_db)
        findings.append(around(name, own.value, half, own.method))
    name = f"hum_{track}_db"
    if noise.hum > 0 and noise.mains_hz:
        value = 10 * math.log10(noise.hum / 0.5) - level_db
        low = 10 * math.log10(max(noise.hum - 1.96 * noise.hum_error, noise.hum / 100) / 0.5) - level_db
        high = 10 * math.log10((noise.hum + 1.96 * noise.hum_error) / 0.5) - level_db
        edge = 1.96 * error_db
        method = f"{told}; lines at multiples of {noise.mains_hz:g} Hz together"
        findings.append(Figure(name, value, low - edge, high + edge, method))
    else:
        limit_db = 10 * math.log10(max(noise.hum_limit, 1e-20) / 0.5) - level_db
        findings.append(Missing(name, f"no line at 50 or 60 Hz stands out of the noise: it is below {limit_db:.0f} dB"))
    return findings


def response_curve(response: Responses, track: int, name: str) -> Finding:
    """Response re 315 Hz; the tones are those of the recording."""
    full = f"response_{name}_db"
    at = np.flatnonzero(response.hz == LINE_UP_HZ)
    if response.hz.size < 3 or not at.size:
        return Missing(full, "the capture does not hold the response steps")
    level = response.level_db[track] - response.level_db[track, at[0]]
    half = 1.96 * np.hypot(response.error_db[track], response.error_db[track, at[0]])
    half[at[0]] = 0.0
    told = (_row(response.hz), _row(level), _row(level - half), _row(level + half))
    return Curve(full, "frequency_hz", *told, "re 315 Hz, neighbour track silent, tones as recorded")


def separation(response: Responses) -> list[Finding]:
    """Separation both ways, over frequency and at 1 kHz; nothing where the response steps are not held."""
    findings: list[Finding] = []
    if not response.hz.size:
        return findings
    for track, (own, other) in enumerate((("left", "right"), ("right", "left"))):
        name = f"separation_{own}_to_{other}_db"
        share, error = np.abs(response.leak[track]), response.leak_error[track]
        seen = share > _LEAST_SEEN * error
        if not seen.any():
            findings.append(Missing(name, "nothing of the one track is heard on the other above the noise"))
            continue
        value, half = -20 * np.log10(share[seen]), 1.96 * 8.686 * error[seen] / share[seen]
        method = f"how far below the {own} track's tone it is heard on the {other} one"
        points = (_row(response.hz[seen]), _row(value), _row(value - half), _row(value + half))
        at = np.flatnonzero(response.hz[seen] == SEPARATION_HZ)
        if at.size:
            i = at[0]
            middle, reach = float(value[i]), float(half[i])
            findings.append(around(name, middle, reach, f"at 1 kHz, {method}"))
        else:
            findings.append(Missing(name, "at 1 kHz nothing is heard on the other track above the noise"))
        findings.append(Curve(f"{name[:-3]}_over_frequency_db", "frequency_hz", *points, method))
    return findings


def level_difference(play: Playing, response: Responses) -> Finding:
    """Left over right, from the line-up tone on both tracks, without what each hears of the other."""
    name = "level_difference_db"
    readings: list[float] = []
    for section in sections("line_up"):
        heard = play.step(section, LINE_UP_HZ)
        if heard is None:
            continue
        if play.clips(section):
            return Missing(name, CLIPS)
        left, right = unmixed(heard[0].values, heard[1].values, response.leak_at(LINE_UP_HZ))
        count = max(1, int(left.size / (_BLOCK_S * heard[0].rate_hz)))
        readings += [
            float(10 * np.log10(np.median(np.abs(one) ** 2) / np.median(np.abs(other) ** 2)))
            for one, other in zip(np.array_split(left, count), np.array_split(right, count), strict=True)
        ]
    if len(readings) < 4:
        return Missing(name, "the capture does not hold the line-up tone")
    leak = 8.686 * 1.96 * response.leak_error_at(LINE_UP_HZ) if response.hz.size else _UNKNOWN_LEAK_DB
    own = of_blocks(name, readings, "left over right, line-up tone")
    half = math.hypot(own.high - own.value, leak, 0.005)
    return around(name, own.value, half, own.method)


def capture_level(reference: tuple[float, float], track: str) -> Figure:
    """Where a full-scale tone of the recording comes out on the capture."""
    level_db, error_db = reference
    half = student_t(20) * error_db
    method = "peak of a full-scale 315 Hz tone of the recording re full scale of the capture"
    return around(f"replay_level_{track}_db", level_db, half, method)


def _row(values: Sequence[float] | NDArray[np.float64]) -> tuple[float, ...]:
    return tuple(float(value) for value in values)
