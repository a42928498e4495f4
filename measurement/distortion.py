"""What the tape does to loud tones: third harmonic at 315 Hz, and the most it gives at 10 kHz."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .figures import Curve, Figure, Finding, Missing, around
from .layout import LIMIT_HZ, LINE_UP_HZ, sections
from .playing import Playing
from .response import Responses
from .skew import unmixed
from .soft_law import output_db, third_db, wanted_for_third_db

REFERENCE_PERCENT = 3.0
"""Third harmonic at full level: DIN 45500 (as reported by a secondary text), IEC's maximum output level."""

_BLOCK_S = 0.1
_WIDTH_HZ = 60.0
"""Wide enough for flutter: the harmonic's phase must follow the tone's."""

_FARTHEST_DB = 8.0
_FEWEST_ERRORS = 4.0
_FITS_DB = 3.0
_COMPRESSED_DB = 1.0
_FEWEST_STEPS = 4

_RESPONSE_UNKNOWN = 0.06
"""Between 315 and 945 Hz decks differ by half a dB (common practice) where the response was not measured."""

_LAWS_DIFFER = 0.02
"""Soft laws that agree up to the loudest step differ by about this share of what lies beyond (modelling prior)."""

_BETWEEN_DB = 0.05
"""A straight line between two steps leaves a curved law by so much at most (the soft law's own: 0.023 dB)."""

CLIPS = "the sound input clips there; set it lower and capture again"


@dataclass(frozen=True, slots=True, eq=False)
class Ladder:
    """A tone at several levels on one track.

    Attributes:
        asked_db: level on the test recording re full scale, shape (steps,).
        heard_db, heard_error_db: level on the capture and its standard error.
        third, third_error: third harmonic re the tone, as a share, and its standard error; NaN out of reach.
        clipped: whether the sound input clips on any step.
    """

    asked_db: NDArray[np.float64]
    heard_db: NDArray[np.float64]
    heard_error_db: NDArray[np.float64]
    third: NDArray[np.float64]
    third_error: NDArray[np.float64]
    clipped: bool


def ladders(play: Playing, name: str, response: Responses) -> tuple[Ladder, ...]:
    """The ladder called ``name`` on each track; empty where the capture does not hold enough of it."""
    rows: list[list[tuple[float, float, float, float, float]]] = [[], []]
    clipped = False
    for section in sections(name):
        tone_hz, asked_db = section.tones[0]
        ones = play.step(section, tone_hz, _WIDTH_HZ)
        if ones is None:
            continue
        clipped = clipped or play.clips(section)
        thirds = play.step(section, 3 * tone_hz, _WIDTH_HZ)
        alone = unmixed(ones[0].values, ones[1].values, response.leak_at(tone_hz))
        for track, row in enumerate(rows):
            blocks = max(2, int(alone[track].size / (_BLOCK_S * ones[track].rate_hz)))
            power = np.array([float((np.abs(part) ** 2).mean()) for part in np.array_split(alone[track], blocks)])
            level_db = 10 * np.log10(np.maximum(power, 1e-20))
            third, third_error = math.nan, math.nan
            if thirds is not None:
                heard = float(10 ** (response.relative_db(3 * tone_hz)[track] / 20))
                harmonic = unmixed(thirds[0].values, thirds[1].values, response.leak_at(3 * tone_hz))[track]
                third, third_error = _third(alone[track], ones[track].rate_hz, harmonic, thirds[track].rate_hz)
                unknown = 0.0 if response.hz.size else _RESPONSE_UNKNOWN * third
                third, third_error = third / heard, math.hypot(third_error, unknown) / heard
            error_db = float(level_db.std(ddof=1)) / math.sqrt(blocks)
            row.append((asked_db, float(np.median(level_db)), error_db, third, third_error))
    if len(rows[0]) < _FEWEST_STEPS:
        return ()
    found = []
    for row in rows:
        asked_db, heard_db, heard_error_db, third, third_error = np.array(row).T
        found.append(Ladder(asked_db, heard_db, heard_error_db, third, third_error, clipped))
    return tuple(found)


def _third(
    own: NDArray[np.complex128], own_hz: float, third: NDArray[np.complex128], third_hz: float
) -> tuple[float, float]:
    """Third harmonic as a share of the tone, and its standard error.

    Turned back by three times the tone's own phase, so that noise averages out instead of adding up.
    """
    blocks = max(2, min(int(own.size / (_BLOCK_S * own_hz)), int(third.size / (_BLOCK_S * third_hz))))
    places = np.arange(third.size) / third_hz
    phase = np.interp(places, np.arange(own.size) / own_hz, np.unwrap(np.angle(own)))
    turned = third * np.exp(-3j * phase) / math.sqrt(float((np.abs(own) ** 2).mean()) + 1e-300)
    parts = np.array([part.mean() for part in np.array_split(turned, blocks)])
    mean = complex(parts.mean())
    error = math.sqrt(float(np.var(parts.real) + np.var(parts.imag)) / 2 / (blocks - 1))
    return math.sqrt(max(abs(mean) ** 2 - 2 * error**2, 0.0)), error


def third_harmonic(ladder: Ladder, track: str) -> list[Finding]:
    """The third harmonic against level, and the level re full scale of the recording that reaches 3 %, in this order.

    Where no step reaches 3 %, the soft law that fits the steps is continued.
    """
    name = f"three_percent_level_{track}_db"
    if ladder.clipped:
        return [Missing(name, CLIPS)]
    if not np.isfinite(ladder.third).all():
        return [Missing(name, "the third harmonic of 315 Hz is out of reach")]
    half = 1.96 * ladder.third_error
    rows = (100 * ladder.third, 100 * np.maximum(ladder.third - half, 0), 100 * (ladder.third + half))
    told = f"third harmonic of {LINE_UP_HZ:g} Hz, level re full scale of the recording"
    curve = _curve(f"third_harmonic_{track}_percent", ladder, rows, told)
    seen = ladder.third > _FEWEST_ERRORS * ladder.third_error
    if seen.sum() < 2:
        return [curve, Missing(name, "no third harmonic stands out of the noise even at full level")]
    asked, share_db = ladder.asked_db[seen], 20 * np.log10(ladder.third[seen])
    error_db = 8.686 * ladder.third_error[seen] / ladder.third[seen]
    reference_db = 20 * math.log10(REFERENCE_PERCENT / 100)
    over = share_db >= reference_db
    loudest = 100 * float(ladder.third[seen][-1])
    if over.all():
        return [curve, Missing(name, "the softest step that shows it has more than 3 % already")]
    if over.any():
        at = int(np.argmax(over))
        rise = float((share_db[at] - share_db[at - 1]) / (asked[at] - asked[at - 1]))
        level = float(asked[at] - (share_db[at] - reference_db) / rise)
        reach = 1.96 * float(error_db[at - 1 : at + 1].max()) / max(rise, 1.0) + _BETWEEN_DB
        return [curve, around(name, level, reach, "re full scale of the recording; between steps below and above 3 %")]
    offset_db, spread_db, miss_db = _soft_law(asked, share_db, error_db)
    level = wanted_for_third_db(reference_db) - offset_db
    beyond_db = level - float(ladder.asked_db[-1])
    if beyond_db > _FARTHEST_DB or miss_db > _FITS_DB:
        return [curve, Missing(name, f"the loudest step reaches only {loudest:.2g} % third harmonic")]
    method = f"re full scale of the recording; continued from {loudest:.2g} % at the loudest step by a soft law"
    return [curve, around(name, level, math.hypot(1.96 * spread_db, _LAWS_DIFFER * beyond_db), method)]


def _soft_law(
    asked: NDArray[np.float64], share_db: NDArray[np.float64], error_db: NDArray[np.float64]
) -> tuple[float, float, float]:
    """How far above the level asked the soft law is driven, its standard error, and the worst miss of any step."""
    from scipy.optimize import least_squares

    scale = 1 / np.hypot(error_db, 0.1)
    fit = least_squares(lambda p: (third_db(asked + p[0]) - share_db) * scale, [-10.0], bounds=([-50.0], [30.0]))
    spread = math.sqrt(max(1.0, 2 * fit.cost / max(1, asked.size - 1)) / max(float((fit.jac**2).sum()), 1e-9))
    return float(fit.x[0]), spread, float(np.abs(fit.fun / scale).max())


def high_frequency_limit(ladder: Ladder, middle: Ladder, full_level: Figure | Missing, track: str) -> list[Finding]:
    """The most that the tape gives at 10 kHz re the 3 % level at 315 Hz (re full scale where that is not known).

    What the rest of the chain takes off at 10 kHz is the gain of the softest steps, and does not count.
    """
    known = isinstance(full_level, Figure)
    name = f"limit_at_10_khz_re_{'3_percent_level' if known else 'full_scale'}_{track}_db"
    if ladder.clipped or middle.clipped:
        return [Missing(name, CLIPS)]
    reference_db = full_level.value if isinstance(full_level, Figure) else 0.0
    gain_db, limit_db, spread_db = _limit(ladder)
    out_db = ladder.heard_db - gain_db
    half = 1.96 * ladder.heard_error_db
    told = f"output at {LIMIT_HZ:g} Hz less the response to soft tones there, re full scale"
    curve = _curve(f"output_at_10_khz_{track}_db", ladder, (out_db, out_db - half, out_db + half), told)
    lost_db = float(ladder.asked_db[-1] - out_db[-1])
    if lost_db < _COMPRESSED_DB:
        reason = f"the loudest step at 10 kHz is compressed by {max(lost_db, 0.0):.1f} dB only: the limit lies above it"
        return [curve, Missing(name, reason)]
    rest_db = max(0.0, limit_db - float(out_db.max()))
    # Soft laws that agree as far as the loudest step differ by about a quarter of what is left to the limit.
    error = math.hypot(1.96 * spread_db, 0.25 * rest_db + 0.2)
    if isinstance(full_level, Figure):
        error = math.hypot(error, (full_level.high - full_level.low) / 2)
    method = f"level that the output nears; the loudest step is {rest_db:.1f} dB below it"
    limit = around(name, limit_db - reference_db, error, method)
    if known:
        return [curve, limit]
    reason = "the 3 % level is not known; re full scale the limit is"
    return [curve, limit, Missing(f"limit_at_10_khz_re_3_percent_level_{track}_db", reason)]


def _limit(ladder: Ladder) -> tuple[float, float, float]:
    """Gain for soft tones, the level that the output nears re the gain, and that level's standard error.

    By the soft law fitted to the steps; an output that falls again beyond its top is taken at its top.
    """
    from scipy.optimize import least_squares

    top = max(_FEWEST_STEPS, int(ladder.heard_db.argmax()) + 1)
    asked, heard = ladder.asked_db[:top], ladder.heard_db[:top]
    scale = 1 / np.hypot(ladder.heard_error_db[:top], 0.03)

    def miss(p: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.asarray((output_db(asked - p[1]) + p[1] + p[0] - heard) * scale)

    bounds = ([-140.0, -60.0], [60.0, 30.0])
    start = [float(np.clip((heard - asked)[:2].mean(), -130, 50)), -5.0]
    fit = least_squares(miss, start, bounds=bounds, loss="soft_l1", f_scale=2.0)
    square = max(1.0, 2 * fit.cost / max(1, top - 2))
    spread = math.sqrt(float(np.linalg.pinv(fit.jac.T @ fit.jac)[1, 1]) * square)
    return float(fit.x[0]), float(fit.x[1]), spread


def _curve(name: str, ladder: Ladder, rows: tuple[NDArray[np.float64], ...], method: str) -> Curve:
    """Value, low and high over the level asked."""
    values, lows, highs = (tuple(row.tolist()) for row in rows)
    return Curve(name, "level_db", tuple(ladder.asked_db.tolist()), values, lows, highs, method)
