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

REFERENCE_PERCENT = 3.0
"""Third harmonic at full level: DIN 45500 (as reported by a secondary text), IEC's maximum output level."""

_BLOCK_S = 0.1
_CUBIC = (1.5, 2.6)
"""dB of third harmonic a dB of level: 2 for a cubic law."""

_FARTHEST_DB = 6.0
_FEWEST_ERRORS = 4.0
_COMPRESSED_DB = 1.0


@dataclass(frozen=True, slots=True, eq=False)
class Ladder:
    """A tone at several levels on one track.

    Attributes:
        asked_db: level on the test recording re full scale, shape (steps,).
        heard_db, heard_error_db: level on the capture and its standard error.
        third, third_error: third harmonic re the tone, as a share, and its standard error; NaN out of reach.
    """

    asked_db: NDArray[np.float64]
    heard_db: NDArray[np.float64]
    heard_error_db: NDArray[np.float64]
    third: NDArray[np.float64]
    third_error: NDArray[np.float64]

    @property
    def gain_db(self) -> float:
        """Level heard less level asked where the tape is still far from its limit: the lowest two steps."""
        return float((self.heard_db - self.asked_db)[:2].mean())

    @property
    def gain_error_db(self) -> float:
        """Standard error of that."""
        return float(math.hypot(*self.heard_error_db[:2]) / 2)


def ladders(play: Playing, name: str, response: Responses) -> tuple[Ladder, ...]:
    """The ladder called ``name`` on each track; empty where the capture does not hold it."""
    rows: list[list[tuple[float, float, float, float, float]]] = [[], []]
    for section in sections(name):
        tone_hz, asked_db = section.tones[0]
        ones = play.step(section, tone_hz)
        if ones is None:
            continue
        thirds = play.step(section, 3 * tone_hz)
        for track, row in enumerate(rows):
            own = ones[track].values
            blocks = max(2, int(own.size / (_BLOCK_S * ones[track].rate_hz)))
            power = np.array([float((np.abs(part) ** 2).mean()) for part in np.array_split(own, blocks)])
            level_db = 10 * np.log10(np.maximum(power, 1e-20))
            third, third_error = math.nan, math.nan
            if thirds is not None:
                heard = float(10 ** (response.relative_db(3 * tone_hz)[track] / 20))
                third, third_error = _third(own, ones[track].rate_hz, thirds[track].values, thirds[track].rate_hz)
                third, third_error = third / heard, third_error / heard
            error_db = float(level_db.std(ddof=1)) / math.sqrt(blocks)
            row.append((asked_db, float(np.median(level_db)), error_db, third, third_error))
    return tuple(Ladder(*np.array(row).T) for row in rows) if len(rows[0]) > 2 else ()


def _third(
    own: NDArray[np.complex128], own_hz: float, third: NDArray[np.complex128], third_hz: float
) -> tuple[float, float]:
    """Third harmonic as a share of the tone, and its standard error.

    Turned back by three times the tone's own phase, so that noise averages out instead of adding up.
    """
    blocks = max(2, min(int(own.size / (_BLOCK_S * own_hz)), int(third.size / (_BLOCK_S * third_hz))))
    places = np.linspace(0, 1, third.size)
    phase = np.interp(places, np.linspace(0, 1, own.size), np.unwrap(np.angle(own)))
    turned = third * np.exp(-3j * phase) / math.sqrt(float((np.abs(own) ** 2).mean()) + 1e-300)
    parts = np.array([part.mean() for part in np.array_split(turned, blocks)])
    mean = complex(parts.mean())
    error = math.sqrt(float(np.var(parts.real) + np.var(parts.imag)) / 2 / (blocks - 1))
    return math.sqrt(max(abs(mean) ** 2 - 2 * error**2, 0.0)), error


def third_harmonic(ladder: Ladder, track: str) -> list[Finding]:
    """The third harmonic against level, and the level re full scale of the recording that reaches 3 %."""
    name = f"three_percent_level_{track}_db"
    seen = ladder.third > _FEWEST_ERRORS * ladder.third_error
    findings: list[Finding] = []
    if np.isfinite(ladder.third).any():
        half = 1.96 * ladder.third_error
        lows = np.maximum(ladder.third - half, 0)
        rows = (100 * ladder.third, 100 * lows, 100 * (ladder.third + half))
        told = f"third harmonic of {LINE_UP_HZ:g} Hz, level re full scale of the recording"
        findings.append(_curve(f"third_harmonic_{track}_percent", ladder, rows, told))
    if seen.sum() < 2:
        return [*findings, Missing(name, "no third harmonic stands out of the noise even at full level")]
    x, y = ladder.asked_db[seen], 20 * np.log10(100 * ladder.third[seen] / REFERENCE_PERCENT)
    error = 8.686 * ladder.third_error[seen] / ladder.third[seen]
    slope = float((y[-1] - y[-2]) / (x[-1] - x[-2]))
    if y[-1] < 0:
        beyond = -y[-1] / 2.0
        if beyond > _FARTHEST_DB or not _CUBIC[0] <= slope <= _CUBIC[1]:
            reason = f"the loudest step reaches only {100 * ladder.third[seen][-1]:.2g} % third harmonic"
            return [*findings, Missing(name, reason)]
        level, reach = float(x[-1] + beyond), 1.96 * float(error[-1]) / 2 + 0.15 * beyond
        method = f"continued by 2 dB a dB from {100 * ladder.third[seen][-1]:.2g} % at the loudest step"
    else:
        over = int(np.argmax(y >= 0))
        if over == 0:
            return [*findings, Missing(name, "the softest step that shows it has more than 3 % already")]
        rise = float((y[over] - y[over - 1]) / (x[over] - x[over - 1]))
        level = float(x[over - 1] - y[over - 1] / rise)
        reach = 1.96 * float(max(error[over - 1 : over + 1])) / max(rise, 1.0) + 0.1
        method = "between the steps below and above 3 %"
    return [*findings, around(name, level, reach, f"re full scale of the recording; {method}")]


def high_frequency_limit(
    ladder: Ladder, middle: Ladder, full_level: Figure | Missing, response_db: float, track: str
) -> list[Finding]:
    """The most that the tape gives at 10 kHz re the 3 % level at 315 Hz (re full scale where that is not known)."""
    reference_db = full_level.value if isinstance(full_level, Figure) else 0.0
    short = "3_percent_level" if isinstance(full_level, Figure) else "full_scale"
    name = f"limit_at_10_khz_re_{short}_{track}_db"
    out_db = ladder.heard_db - middle.gain_db - response_db
    half = 1.96 * ladder.heard_error_db
    told = f"output at {LIMIT_HZ:g} Hz less the response there, re full scale at {LINE_UP_HZ:g} Hz"
    curve = _curve(f"output_at_10_khz_{track}_db", ladder, (out_db, out_db - half, out_db + half), told)
    lost_db = ladder.gain_db - float((ladder.heard_db - ladder.asked_db)[-1])
    if lost_db < _COMPRESSED_DB:
        reason = f"the loudest step at 10 kHz is compressed by {max(lost_db, 0.0):.1f} dB only: the limit lies above it"
        return [curve, Missing(name, reason)]
    top = int(out_db.argmax())
    value = float(out_db[top]) - reference_db
    error = 1.96 * math.hypot(float(ladder.heard_error_db[top]), middle.gain_error_db)
    if isinstance(full_level, Figure):
        error = math.hypot(error, (full_level.high - full_level.low) / 2)
    rising = top == out_db.size - 1
    method = "output of the loudest step, which still rises" if rising else "largest output of any step"
    return [curve, around(name, value, error + 0.2, method)]


def _curve(name: str, ladder: Ladder, rows: tuple[NDArray[np.float64], ...], method: str) -> Curve:
    """Value, low and high over the level asked."""
    values, lows, highs = (tuple(row.tolist()) for row in rows)
    return Curve(name, "level_db", tuple(ladder.asked_db.tolist()), values, lows, highs, method)
