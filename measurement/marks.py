"""The marks of the test recording found in a capture, and with them where everything else lies."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from ..contracts.signal import Signal
from .layout import LAYOUT, MARK_HZ, MARK_S, MARKS_S, Section, mark_turns

SPEED_LIMIT = 0.1
"""Decks further off than this are repaired, not measured."""

FEWEST_MARKS = 3
"""Three in the right places are no accident: each must lie within 1 % of the space between marks.

Two are believed if they are neighbours and the tones that belong between them are heard there.
"""

_SEARCH_RATE_HZ = 11_000
_LIKENESS = 0.45
"""A piece of sound is taken for a mark from this correlation on (1 is a copy; noise of the same band gives 0.15)."""

_MOST_PEAKS = 60
_SLACK_S = 0.01
_MARGIN = 0.005
_NEAR_S = 0.05

_HEARD_BETWEEN_HZ = (300.0, 4000.0)
"""Tones that the slow rows hold undiminished."""

_PIECE_S = 0.5
_HEARD_SHARE = 0.8


@dataclass(frozen=True, slots=True, eq=False)
class Located:
    """Where the test recording lies in a capture.

    Attributes:
        marks_s: (place on the test recording, time on the capture) of each mark heard, shape (marks, 2).
        skews_s: right after left at the same marks, shape (marks,).
        opposite: whether the polarity of the two rows differs. That of both together is not told by the marks: a speed
            that wavers by 0.5 % between two marks turns their phase half round.
    """

    marks_s: NDArray[np.float64]
    skews_s: NDArray[np.float64]
    opposite: bool

    @property
    def speed(self) -> float:
        """Mean speed re nominal between the first and the last mark."""
        (first, at_first), (last, at_last) = self.marks_s[0], self.marks_s[-1]
        return float((last - first) / (at_last - at_first))

    def at(self, place_s: float) -> float:
        """Time on the capture of a place on the test recording; straight lines between marks."""
        places, times = self.marks_s.T
        if place_s < places[0]:
            return float(times[0] + (place_s - places[0]) / self.speed)
        if place_s > places[-1]:
            return float(times[-1] + (place_s - places[-1]) / self.speed)
        return float(np.interp(place_s, places, times))

    def span(self, section: Section, signal: Signal, guard_s: float = 0.03) -> tuple[int, int] | None:
        """First and last frame of a section, ``guard_s`` inside its ends; None if the capture does not hold it all."""
        start = math.ceil((self.at(section.start_s) + guard_s) * signal.sample_rate_hz)
        stop = math.floor((self.at(section.end_s) - guard_s) * signal.sample_rate_hz)
        if start < 0 or stop > signal.frames or stop <= start:
            return None
        return start, stop


def locate(signal: Signal) -> Located | None:
    """The test recording in ``signal``; None where too few marks stand where they should."""
    if signal.duration_s < 2 * MARK_S:
        return None
    every = max(1, round(signal.sample_rate_hz / _SEARCH_RATE_HZ))
    rate = signal.sample_rate_hz / every
    slow = _decimated(signal, every)
    peaks_s = _peaks(slow, rate)
    fit = _fit(peaks_s) or _neighbours(peaks_s, slow, rate)
    if fit is None:
        return None
    speed, matched = fit
    found = []
    for place_s, near_s in matched:
        heard = _refined(slow, rate, near_s, speed)
        if heard is not None:
            found.append((place_s, *heard))
    if len(found) < min(FEWEST_MARKS, len(matched)):
        return None
    told = np.array(found)
    left, right = told[:, 1], told[:, 2]
    return Located(np.column_stack((told[:, 0], (left + right) / 2)), right - left, bool(told[:, 3].sum() < 0))


def _decimated(signal: Signal, every: int) -> NDArray[np.float64]:
    from scipy.signal import butter, sosfiltfilt

    rows = signal.samples.astype(np.float64) if every == 1 else _fewer(signal.samples, every)
    # What lies below the marks (DC, hum, rumble) would make them look unlike themselves.
    low_cut = butter(2, MARK_HZ[0] / 2, "highpass", fs=signal.sample_rate_hz / every, output="sos")
    return np.asarray(sosfiltfilt(low_cut, rows))


def _fewer(samples: NDArray[np.float32], every: int) -> NDArray[np.float64]:
    from scipy.signal import firwin, upfirdn

    half = 8 * every
    taps = firwin(2 * half + 1, 0.8 / every)
    rows = [upfirdn(taps, row, down=every)[half // every :] for row in samples]
    return np.asarray(rows)[:, : samples.shape[1] // every]


def _template(rate: float, speed: float) -> NDArray[np.complex128]:
    times_s = np.arange(round(MARK_S / speed * rate)) / rate * speed
    return np.asarray(np.hanning(times_s.size) ** 0.5 * np.exp(2j * np.pi * mark_turns(times_s)))


def _likeness(row: NDArray[np.float64], template: NDArray[np.complex128]) -> NDArray[np.complex128]:
    """Complex correlation with the template at each start; its magnitude is 1 for a copy."""
    from scipy.signal import oaconvolve

    product = oaconvolve(row, template[::-1].conj(), mode="valid")
    sums = np.cumsum(np.concatenate(((0.0,), row * row)))
    energy = sums[template.size :] - sums[: -template.size]
    scale = np.sqrt(np.maximum(energy, 1e-12 * max(1e-300, float(energy.max()))) * (np.abs(template) ** 2).sum() / 2)
    return np.asarray(product / scale)


def _peaks(slow: NDArray[np.float64], rate: float) -> NDArray[np.float64]:
    """Times at which either row resembles a mark, the most alike first."""
    from scipy.signal import find_peaks

    template = _template(rate, 1.0)
    likeness = np.abs(_likeness(slow[0], template))
    likeness = np.maximum(likeness, np.abs(_likeness(slow[1], template)))
    tops, told = find_peaks(likeness, height=_LIKENESS, distance=max(1, round(MARK_S * rate)))
    order = np.argsort(-told["peak_heights"])[:_MOST_PEAKS]
    return np.asarray(tops[order] / rate)


def _fit(peaks_s: NDArray[np.float64]) -> tuple[float, list[tuple[float, float]]] | None:
    """The speed, and which peak is which mark: the pairing in which most marks lie where the layout has them."""
    places = np.array(MARKS_S)
    best: tuple[int, float, float, float] | None = None
    for i, j in zip(*np.triu_indices(places.size, 1), strict=True):
        apart = places[j] - places[i]
        fastest, slowest = apart / (1 + SPEED_LIMIT + _MARGIN), apart / (1 - SPEED_LIMIT - _MARGIN)
        for one in peaks_s:
            for other in peaks_s:
                if not fastest <= other - one <= slowest:
                    continue
                slope = (other - one) / apart
                expected = one + (places - places[i]) * slope
                miss = np.abs(expected[:, None] - peaks_s[None, :]).min(axis=1)
                near = miss < _SLACK_S + 0.003 * np.abs(expected - one)
                rank = (int(near.sum()), -float(miss[near].sum()), slope, one - places[i] * slope)
                if best is None or rank[:2] > best[:2]:
                    best = rank
    if best is None or best[0] < FEWEST_MARKS:
        return None
    _, _, slope, offset = best
    matched = []
    for place in places:
        expected_s = offset + place * slope
        nearest = float(peaks_s[np.argmin(np.abs(peaks_s - expected_s))])
        near = abs(nearest - expected_s) < _SLACK_S + _NEAR_S
        if near:
            matched.append((float(place), nearest))
    return 1 / slope, matched


def _neighbours(
    peaks_s: NDArray[np.float64], slow: NDArray[np.float64], rate: float
) -> tuple[float, list[tuple[float, float]]] | None:
    """As ``_fit``, from two marks that stand next to each other with the right tones between them."""
    best: tuple[float, float, list[tuple[float, float]]] | None = None
    for place, following in pairwise(MARKS_S):
        between = [
            (section, section.tones[0][0])
            for section in LAYOUT
            if section.tones and place < section.start_s < following and _is_heard_slow(section.tones[0][0])
        ]
        for one in peaks_s if between else ():
            for other in peaks_s:
                slope = (other - one) / (following - place)
                if not 1 / (1 + SPEED_LIMIT + _MARGIN) <= slope <= 1 / (1 - SPEED_LIMIT - _MARGIN):
                    continue
                pieces = [
                    _is_tone(
                        slow[:, round(start_s * rate) : round((start_s + _PIECE_S * slope) * rate)], rate, hz / slope
                    )
                    for section, hz in between
                    for start_s in one
                    + slope * (np.arange(section.start_s, section.end_s - _PIECE_S, _PIECE_S) - place)
                ]
                share = float(np.mean(pieces))
                if share >= _HEARD_SHARE and (best is None or share > best[0]):
                    best = share, 1 / slope, [(place, float(one)), (following, float(other))]
    return None if best is None else best[1:]


def _is_heard_slow(tone_hz: float) -> bool:
    low, high = _HEARD_BETWEEN_HZ
    return low <= tone_hz <= high


def _is_tone(rows: NDArray[np.float64], rate: float, tone_hz: float) -> bool:
    """Whether most of the power of the louder row lies within 2 % of a tone."""
    row = max(rows, key=lambda one: float((one**2).sum()))
    power = np.abs(np.fft.rfft(row * np.hanning(row.size))) ** 2
    near = np.abs(np.fft.rfftfreq(row.size, 1 / rate) - tone_hz) <= 0.02 * tone_hz + 2 / _PIECE_S
    return bool(power[near].sum() > 0.5 * power.sum())


def _refined(slow: NDArray[np.float64], rate: float, near_s: float, speed: float) -> tuple[float, float, float] | None:
    """Time on each row, and how far their phases agree there, from 1 to -1 where they are opposite; None if unlike."""
    template = _template(rate, speed)
    first = max(0, round((near_s - _NEAR_S) * rate))
    last = min(slow.shape[1], first + template.size + round(2 * _NEAR_S * rate))
    if last - first < template.size + 3:
        return None
    times, phases = [], []
    for row in slow:
        likeness = _likeness(row[first:last], template)
        height = np.abs(likeness)
        top = int(height.argmax())
        if not 0 < top < height.size - 1 or height[top] < _LIKENESS:
            return None
        below, here, above = height[top - 1 : top + 2]
        times.append((first + top + 0.5 * (below - above) / (below - 2 * here + above)) / rate)
        phases.append(likeness[top] / height[top])
    return times[0], times[1], float((phases[0] * phases[1].conjugate()).real)
