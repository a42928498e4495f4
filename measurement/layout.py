"""The test recording: what stands where on it, and its sound.

``LAYOUT`` is the one place that knows. Times are seconds from the first frame at nominal speed, levels are peaks in
dB re full scale. A recording says its ``LAYOUT_VERSION`` in the file's metadata; another order of sections, another
tone or level is another version.

No two marks in a row have others beside them at the same proportion of distances, so that three are enough to know
the place and the speed.

The response of a track is taken with its neighbour silent: with both in use, crosstalk of -30 dB would be an error of
up to 0.3 dB, and the same steps tell the separation. Each track is swept twice, upwards and downwards, so that a slow
change shows up as a difference.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..contracts.errors import UsageError
from ..contracts.signal import Signal, whole_rate

LAYOUT_VERSION = 1

LOWEST_TEST_RATE_HZ = 32_000
"""The highest tone, 14 kHz, needs it."""

LINE_UP_HZ = 315.0
"""Reference level frequency of IEC 60094 (frequency from memory)."""

LIMIT_HZ = 10_000.0
"""Where the high-frequency limit of a tape is stated (common practice)."""

FLUTTER_HZ = 3150.0
"""Measuring frequency of IEC 60386 / AES6-2008."""

CARRIER_HZ = (FLUTTER_HZ, 6300.0)
"""Heard together: a lift of the tape takes twice as many dB off the upper one, missing oxide as many."""

RESPONSE_HZ = (
    *(40.0, 75.0, 110.0, 220.0, 315.0, 630.0, 1000.0, 2000.0),
    *(3150.0, 4000.0, 5000.0, 6300.0, 8000.0, 10_000.0, 12_500.0, 14_000.0),
)
"""The low ones keep clear of 50 and 60 Hz and their multiples: hum would be taken for response."""

LINE_UP_DB = -6.0
LADDER_DB = (-24.0, -18.0, -12.0, -9.0, -6.0, -3.0, 0.0)
LIMIT_LADDER_DB = (-30.0, -24.0, -20.0, -16.0, -12.0, -8.0, -4.0, 0.0)
RESPONSE_DB = -26.0
CARRIER_DB = (-8.0, -12.0)
MARK_DB = -9.0
PULSE_DB = -9.0

MARK_HZ = (500.0, 4000.0)
MARK_S = 0.2
PULSE_HZ = 1500.0
PULSES_PER_S = 20

GAP_S = 0.05
"""Silence before and after every section but silence itself."""

_EDGE_S = 0.01
_PIECE_FRAMES = 1 << 18


@dataclass(frozen=True, slots=True)
class Section:
    """A stretch of one sound.

    Attributes:
        name: what it is for; several may share one.
        sound: silence, mark, tones or pulses.
        start_s, length_s: where it stands.
        tones: (frequency in Hz, peak in dB re full scale) of each tone.
        tracks: which of (left, right) carry it.
    """

    name: str
    sound: str
    start_s: float
    length_s: float
    tones: tuple[tuple[float, float], ...] = ()
    tracks: tuple[bool, bool] = (True, True)

    @property
    def end_s(self) -> float:
        """Where it ends."""
        return self.start_s + self.length_s


BOTH, LEFT, RIGHT = (True, True), (True, False), (False, True)


def _in_order() -> Iterator[tuple[str, str, float, tuple[tuple[float, float], ...], tuple[bool, bool]]]:
    mark = ("mark", "mark", MARK_S, (), BOTH)
    carrier = ("carrier", "tones", 60.0, tuple(zip(CARRIER_HZ, CARRIER_DB, strict=True)), BOTH)
    yield "leader", "silence", 1.0, (), BOTH
    yield mark
    yield "line_up", "tones", 10.0, ((LINE_UP_HZ, LINE_UP_DB),), BOTH
    yield mark
    for level_db in LADDER_DB:
        yield "ladder", "tones", 1.4, ((LINE_UP_HZ, level_db),), BOTH
    for level_db in LIMIT_LADDER_DB:
        yield "limit_ladder", "tones", 0.9, ((LIMIT_HZ, level_db),), BOTH
    yield mark
    for frequencies, lengths_s in ((RESPONSE_HZ, (0.7, 0.8)), (RESPONSE_HZ[::-1], (0.8, 0.7))):
        for tracks, length_s in zip((LEFT, RIGHT), lengths_s, strict=True):
            for frequency_hz in frequencies:
                yield "response", "tones", length_s, ((frequency_hz, RESPONSE_DB),), tracks
            yield mark
        if frequencies == RESPONSE_HZ:
            yield carrier
            yield mark
            yield "silence", "silence", 20.0, (), BOTH
            yield mark
            yield carrier
            yield mark
    for tracks in (LEFT, RIGHT, BOTH):
        yield "pulses", "pulses", 2.0, (), tracks
    yield mark
    yield "tail", "silence", 1.0, (), BOTH


def _layout() -> tuple[Section, ...]:
    sections, at = [], 0.0
    for name, sound, length_s, tones, tracks in _in_order():
        gap = 0.0 if sound == "silence" else GAP_S
        sections.append(Section(name, sound, round(at + gap, 6), length_s, tones, tracks))
        at += length_s + 2 * gap
    return tuple(sections)


LAYOUT = _layout()
DURATION_S = LAYOUT[-1].end_s
MARKS_S = tuple(section.start_s for section in LAYOUT if section.sound == "mark")


def sections(name: str) -> tuple[Section, ...]:
    """Every section called ``name``, in order.

    >>> [section.tones for section in sections("line_up")]
    [((315.0, -6.0),)]
    """
    return tuple(section for section in LAYOUT if section.name == name)


@dataclass(frozen=True, slots=True)
class LayoutLabel:
    """What the file's metadata says of a test recording."""

    name: str = "tapewright test recording"

    def to_json(self) -> dict[str, Any]:
        """Plain values, as stored in a recording."""
        return {"test_recording": LAYOUT_VERSION, "length_s": DURATION_S}


def mark_turns(times_s: NDArray[np.float64]) -> NDArray[np.float64]:
    """Phase of a mark in turns: its period falls evenly, so that another speed only shifts it in time.

    This is the hyperbolic sweep of radar and sonar practice, which a change of scale leaves in its shape.
    """
    first_s, last_s = 1 / MARK_HZ[0], 1 / MARK_HZ[1]
    fall = (last_s - first_s) / MARK_S
    return np.asarray(np.log1p(fall * times_s / first_s) / fall)


def whole_recording(sample_rate_hz: int = 44_100) -> Signal:
    """The whole test recording.

    Raises:
        UsageError: a sample rate below 32,000 Hz, or out of range.
    """
    rate = whole_rate(sample_rate_hz)
    if rate < LOWEST_TEST_RATE_HZ:
        raise UsageError(
            f"Argument 'sample_rate_hz' must be at least {LOWEST_TEST_RATE_HZ} for tones up to 14 kHz, not {rate}."
        )
    samples = np.zeros((2, round(DURATION_S * rate)), np.float32)
    for section in LAYOUT:
        if section.sound == "silence":
            continue
        first, last = math.ceil(section.start_s * rate), math.floor(section.end_s * rate)
        for start in range(first, last, _PIECE_FRAMES):
            stop = min(start + _PIECE_FRAMES, last)
            wave = _sound(section, np.arange(start, stop) / rate - section.start_s)
            for row, carries in zip(samples, section.tracks, strict=True):
                if carries:
                    row[start:stop] = wave
    return Signal.owning(samples, rate)


def _sound(section: Section, times_s: NDArray[np.float64]) -> NDArray[np.float64]:
    if section.sound == "pulses":
        return _peak(PULSE_DB) * pulse(np.mod(times_s, 1 / PULSES_PER_S) - 0.5 / PULSES_PER_S)
    if section.sound == "mark":
        wave = _peak(MARK_DB) * np.sin(2 * np.pi * mark_turns(np.minimum(times_s, MARK_S)))
    else:
        wave = sum((_peak(db) * np.sin(2 * np.pi * hz * times_s) for hz, db in section.tones), np.zeros_like(times_s))
    nearest_s = np.minimum(times_s, section.length_s - times_s)
    return np.asarray(wave * (0.5 - 0.5 * np.cos(np.pi * np.clip(nearest_s / _EDGE_S, 0, 1))))


def pulse(since_s: NDArray[np.float64]) -> NDArray[np.float64]:
    """One upright half wave between two smaller ones: a cosine of 1,500 Hz under a raised cosine of two periods.

    Args:
        since_s: time from its middle; beyond a period to either side it is 0.
    """
    near = np.clip(since_s * PULSE_HZ, -1, 1)
    return np.asarray((0.5 + 0.5 * np.cos(np.pi * near)) * np.cos(2 * np.pi * near))


def _peak(level_db: float) -> float:
    return float(10 ** (level_db / 20))
