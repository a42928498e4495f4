"""Response of each track and what it gives to its neighbour, from tones on one track at a time."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .figures import student_t
from .layout import LINE_UP_HZ, RESPONSE_HZ, sections
from .playing import Playing
from .silence import Noise
from .tone import Baseband

BLOCK_S = 0.05

_ODD = 3.3
"""Passes that differ by more standard deviations than this (1 in 1,000) do so for another reason."""

_FEWEST_PAIRS = 8
_GO_TOGETHER = 3.0
"""Blocks of 50 ms go together while contact wavers at 1 to 20 Hz: errors are larger by about this (modelling prior)."""

_HUM_ENDS_HZ = 260.0
_SPEED_REACH = 0.01

_MOST_SQUARE = 6.6
"""A Gaussian's square exceeds this in 1 % of cases, 6.6 variances."""

_MEDIAN_ERROR = 1.25
"""Standard error of a Gaussian median re that of the mean: sqrt(pi / 2)."""


@dataclass(frozen=True, slots=True, eq=False)
class Responses:
    """What the tones of the response steps gave; rows are the tracks, left first.

    Attributes:
        hz: the tones that were heard on both tracks, shape (tones,).
        level_db: peak in dB re full scale of the capture, mean of the passes, shape (2, tones).
        error_db: its standard error, shape (2, tones).
        leak: what the neighbour gets, as a complex share of the track's own tone, shape (2, tones).
        leak_error: standard error of the real and of the imaginary part, shape (2, tones).
    """

    hz: NDArray[np.float64]
    level_db: NDArray[np.float64]
    error_db: NDArray[np.float64]
    leak: NDArray[np.complex128]
    leak_error: NDArray[np.float64]

    def leak_at(self, frequency_hz: float) -> tuple[complex, complex]:
        """From left to right and from right to left at a frequency, between the tones that were measured."""
        if not self.hz.size:
            return 0j, 0j
        there, back = (complex(np.interp(frequency_hz, self.hz, row)) for row in self.leak)
        return there, back

    def leak_error_at(self, frequency_hz: float) -> float:
        """Standard error of both shares of ``leak_at`` together, at the tone nearest to a frequency."""
        if not self.hz.size:
            return 0.0
        nearest = int(np.abs(self.hz - frequency_hz).argmin())
        return float(np.hypot(*self.leak_error[:, nearest]))

    def relative_db(self, frequency_hz: float) -> tuple[float, float]:
        """Response of the left and the right track at a frequency re 315 Hz."""
        if not self.hz.size:
            return 0.0, 0.0
        x = np.log(self.hz)
        at, reference = np.log(frequency_hz), np.log(LINE_UP_HZ)
        left, right = (float(np.interp(at, x, row) - np.interp(reference, x, row)) for row in self.level_db)
        return left, right


def responses(play: Playing, quiet: tuple[Noise, Noise] | None) -> Responses:
    """Both passes of both tracks.

    The error of a level comes from how much the passes differ, all tones together: a variance that is the same for all
    tones and one that grows with the square of frequency (the contact of head and tape: its loss in dB is proportional
    to frequency). Where the capture holds one pass only, it comes from the scatter within a step.
    """
    heard: dict[tuple[int, float], list[_Reading]] = {}
    for section in sections("response"):
        tone_hz = section.tones[0][0]
        tracks = play.step(section, tone_hz)
        if tracks is None:
            continue
        own = 0 if section.tracks[0] else 1
        floor = 0.0 if quiet is None else quiet[own].density_at(tracks[own].centre_hz)
        reading = _read(tracks[own], tracks[1 - own], floor)
        heard.setdefault((own, tone_hz), []).append(reading)
    if play.mono:
        loud = max((0, 1), key=lambda own: sum(one.level_db for one in heard.get((own, LINE_UP_HZ), [_NOTHING])))
        heard = {(track, tone): readings for (own, tone), readings in heard.items() if own == loud for track in (0, 1)}
    hz = np.array([tone for tone in RESPONSE_HZ if (0, tone) in heard and (1, tone) in heard])
    shape = (2, hz.size)
    level, leak, leak_error = np.zeros(shape), np.zeros(shape, np.complex128), np.zeros(shape)
    passes, noisy, scattered = np.ones(shape), np.zeros(shape), np.zeros(shape)
    apart: list[tuple[float, float]] = []
    for i, tone in enumerate(hz):
        for track in (0, 1):
            readings = heard[track, tone]
            passes[track, i] = len(readings)
            level[track, i] = np.mean([one.level_db for one in readings])
            noisy[track, i] = np.mean([one.level_error_db**2 for one in readings])
            scattered[track, i] = np.mean([one.scatter_db**2 for one in readings])
            leak[track, i] = np.mean([one.share for one in readings])
            leak_error[track, i] = math.sqrt(sum(one.share_error**2 for one in readings)) / len(readings)
            if len(readings) == 2:
                apart.append((tone, readings[0].level_db - readings[1].level_db))
    if play.mono:
        leak, leak_error = np.zeros_like(leak), np.zeros_like(leak_error)
    variance = np.tile(_variance(hz, apart), (2, 1)) if len(apart) >= _FEWEST_PAIRS else scattered
    for track, i in np.argwhere(passes == 2):
        one, other = (reading.level_db for reading in heard[track, hz[i]])
        if abs(one - other) > _ODD * math.sqrt(2 * variance[track, i]):
            # A dropout only takes away.
            level[track, i], passes[track, i] = max(one, other), 1
    return Responses(hz, level, np.sqrt(np.maximum(variance, noisy) / passes), leak, leak_error)


@dataclass(frozen=True, slots=True)
class _Reading:
    level_db: float
    level_error_db: float
    scatter_db: float
    share: complex
    share_error: float


_NOTHING = _Reading(-200.0, 0.0, 0.0, 0j, 0.0)


def _read(own: Baseband, other: Baseband, density: float) -> _Reading:
    blocks = max(1, int(own.values.size / (BLOCK_S * own.rate_hz)))
    power = np.array([float((np.abs(part) ** 2).mean()) for part in np.array_split(own.values, blocks)])
    if own.centre_hz < _HUM_ENDS_HZ:
        level = max(_steady_power(own), 1e-20)
    else:
        level = max(float(np.median(power)) - 2 * density * own.noise_hz, 1e-20)
    product = np.array_split(other.values * own.values.conj(), blocks)
    total = float((np.abs(own.values) ** 2).sum()) + 1e-300
    share = complex(sum(part.sum() for part in product)) / total
    # What wavers on both tracks alike, the tone's own level, is no error of a share.
    own_power = power * [part.size for part in product]
    parts = (np.array([part.sum() for part in product]) - share * own_power) / total * blocks
    spread = math.sqrt(float((np.abs(parts) ** 2).mean()) / 2)
    fair = student_t(blocks) / 1.96 / math.sqrt(max(1, blocks - 1))
    noise = 2 * density * own.noise_hz / level
    independent = max(1.0, own.noise_hz * own.values.size / own.rate_hz)
    level_error_db = 4.343 * math.sqrt((2 * noise + noise**2) / independent) * _MEDIAN_ERROR
    scatter_db = float(np.std(10 * np.log10(np.maximum(power, 1e-20)))) * fair * _GO_TOGETHER
    return _Reading(10 * math.log10(level), level_error_db, scatter_db, share, spread * fair)


def _steady_power(tone: Baseband) -> float:
    """Power of one steady tone, as narrow as the step is long: hum beside it does not count.

    The speed of the moment is looked for within 1 %: the strongest is taken.
    """
    window = np.hanning(tone.values.size + 2)[1:-1]
    off_hz = tone.centre_hz * np.linspace(-_SPEED_REACH, _SPEED_REACH, 41)
    times = np.arange(tone.values.size) / tone.rate_hz
    sums = np.exp(-2j * np.pi * off_hz[:, None] * times) @ (tone.values * window)
    return float((np.abs(sums) ** 2).max() / window.sum() ** 2)


def _variance(hz: NDArray[np.float64], apart: list[tuple[float, float]]) -> NDArray[np.float64]:
    """Variance of one reading at each tone, from the differences of two passes."""
    from scipy.optimize import nnls

    tone, difference = np.array(apart).T
    share = (tone / 10_000.0) ** 2
    square = difference**2 / 2
    same, growing = float(np.median(square) / 0.455), 0.0
    for _ in range(20):
        weight = 1 / (same + growing * share + 1e-6) ** 2
        design = np.stack((np.ones_like(share), share)) * np.sqrt(weight)
        # One pass in a dropout says nothing of the others: a square is taken at most at what chance allows.
        usual = np.minimum(square, _MOST_SQUARE * (same + growing * share))
        (same, growing), _ = nnls(design.T, usual * np.sqrt(weight))
    return np.asarray(same + growing * (hz / 10_000.0) ** 2 + 1e-6)
