"""A play of the test recording: which row is which track, and what is heard in each section."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..contracts.signal import Signal
from .layout import PULSE_HZ, PULSES_PER_S, RESPONSE_HZ, Section, pulse, sections
from .marks import Located, locate
from .tone import Baseband, baseband, settle_s

TRACKS = ("left", "right")

LEAST_WIDTH_HZ = 10.0
_WIDTH_SHARE = 0.015
"""Half width of a step's baseband: wow and flutter and a wrong idea of the speed stay well inside."""

_APART = 1.4
"""A track alone is told from its neighbour when it is 3 dB stronger; less is a mono deck."""

_MIDDLE_HZ = (630.0, 2000.0)
_NYQUIST_SHARE = 0.45


@dataclass(frozen=True, slots=True, eq=False)
class Playing:
    """The test recording in a capture.

    Attributes:
        signal: the capture.
        located: where things lie in it.
        swapped: whether the left track came on the right row.
        mono: whether both rows carry the same sound, so that nothing can be said of the tracks apart.
        inverted: whether the left track's polarity is turned; None where the capture does not hold the pulses.
    """

    signal: Signal
    located: Located
    swapped: bool
    mono: bool
    inverted: bool | None

    @property
    def samples(self) -> NDArray[np.float32]:
        """The tracks as recorded, left first."""
        return self.signal.samples[::-1] if self.swapped else self.signal.samples

    @property
    def tracks(self) -> tuple[str, ...]:
        """Names of the tracks that can be told apart."""
        return ("mono",) if self.mono else TRACKS

    @property
    def opposite(self) -> bool:
        """Whether the polarity of the two tracks differs."""
        return self.located.opposite

    @property
    def highest_hz(self) -> float:
        """Tones above this are out of reach of the capture's sample rate."""
        return _NYQUIST_SHARE * self.signal.sample_rate_hz

    def span(self, section: Section, guard_s: float = 0.03) -> tuple[int, int] | None:
        """As ``Located.span``."""
        return self.located.span(section, self.signal, guard_s)

    def clips(self, section: Section) -> bool:
        """Whether a section stands at the largest value of its track, three readings in a row, 1 in 1000 times."""
        span = self.span(section)
        return span is not None and any(
            clipped_share(row[slice(*span)], float(top)) > 1e-3
            for row, top in zip(self.samples, np.abs(self.samples).max(axis=1), strict=True)
        )

    def step(
        self, section: Section, tone_hz: float, least_width_hz: float = LEAST_WIDTH_HZ
    ) -> tuple[Baseband, Baseband] | None:
        """The tone at baseband on both tracks, without what the filter hears of the neighbours; None if not held."""
        return step(self.signal, self.samples, self.located, section, tone_hz, least_width_hz)


def clipped_share(row: NDArray[np.float32], top: float) -> float:
    """Share of ``row`` that stands at ``top`` or minus it, three equal readings in a row."""
    if row.size < 3 or top <= 0:
        return 0.0
    at = np.abs(row) >= 0.9999 * top
    return float((at[2:] & at[1:-1] & at[:-2] & (row[2:] == row[1:-1]) & (row[1:-1] == row[:-2])).mean())


def step(
    signal: Signal,
    samples: NDArray[np.float32],
    located: Located,
    section: Section,
    tone_hz: float,
    least_width_hz: float = LEAST_WIDTH_HZ,
) -> tuple[Baseband, Baseband] | None:
    """See ``Playing.step``."""
    width_hz = max(least_width_hz, _WIDTH_SHARE * tone_hz)
    span = located.span(section, signal, 0.03 + settle_s(width_hz))
    centre_hz = tone_hz * located.speed
    if span is None or centre_hz > _NYQUIST_SHARE * signal.sample_rate_hz:
        return None
    left, right = (baseband(row, signal.sample_rate_hz, centre_hz, width_hz, *span) for row in samples)
    return left, right


def playing(signal: Signal) -> Playing | None:
    """The test recording as it lies in ``signal``; None if it is not there."""
    located = locate(signal)
    if located is None:
        return None
    mono = bool(np.array_equal(signal.samples[0], signal.samples[1]))
    straight = crossed = 0.0
    for section in sections("response"):
        tone_hz = section.tones[0][0]
        if tone_hz not in RESPONSE_HZ or not _MIDDLE_HZ[0] <= tone_hz <= _MIDDLE_HZ[1]:
            continue
        heard = step(signal, signal.samples, located, section, tone_hz)
        if heard is None:
            continue
        own, other = heard if section.tracks[0] else heard[::-1]
        straight += float((np.abs(own.values) ** 2).mean())
        crossed += float((np.abs(other.values) ** 2).mean())
    if straight or crossed:
        mono = mono or max(straight, crossed) < _APART**2 * min(straight, crossed)
    swapped = not mono and crossed > straight
    return Playing(signal, located, swapped, mono, _inverted(signal, signal.samples[int(swapped)], located))


def _inverted(signal: Signal, left: NDArray[np.float32], located: Located) -> bool | None:
    """Whether the pulses of the left track stand upside down: their main half wave is the largest."""
    from scipy.signal import oaconvolve

    template = pulse(np.arange(-1, 1, 1 / signal.sample_rate_hz * PULSE_HZ * located.speed) / PULSE_HZ)
    upright = inverted = 0.0
    for section in sections("pulses"):
        span = located.span(section, signal) if section.tracks[0] else None
        if span is None:
            continue
        match = oaconvolve(left[slice(*span)].astype(np.float64), template[::-1], mode="same")
        period = int(signal.sample_rate_hz / (PULSES_PER_S * located.speed))
        each = match[: match.size // period * period].reshape(-1, period)
        upright += float(np.median(each.max(axis=1)))
        inverted += float(np.median(-each.min(axis=1)))
    return None if upright == inverted else inverted > upright
