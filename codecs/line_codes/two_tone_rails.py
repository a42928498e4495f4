"""Two tracks of two tones each: one burst a step says two bits."""

from __future__ import annotations

from dataclasses import dataclass

from ...contracts.errors import UsageError
from ...contracts.parameters import parameter
from .rail_code import RailCode

LEAST_RATIO = 1.25
"""Tones nearer together than a major third cannot be told apart by a filter of two or three parts."""


@dataclass(frozen=True)
class TwoToneRails(RailCode):
    """Two bits a step: the track says the first, the tone the second. See ``RailCode`` for what is on the tape.

    The default tones are an octave apart: an amplifier that clips alike on both sides adds only odd multiples of the
    lower tone, which pass by the filter of the higher.
    """

    name = "two_tone_rails"
    summary = "One burst a step on one of two tracks at one of two tones: two bits a step, with a filter a track."

    tone_hz: float = parameter(2000.0, "Lower tone: the second bit is 0.", unit="Hz", low=100, high=20_000)
    second_tone_hz: float = parameter(4000.0, "Higher tone: the second bit is 1.", unit="Hz", low=100, high=20_000)

    def check(self) -> None:
        """See ``PlugIn``."""
        super().check()
        if self.second_tone_hz < LEAST_RATIO * self.tone_hz:
            raise UsageError(
                f"{self.name}: parameter 'second_tone_hz' must be at least {LEAST_RATIO:g} times tone_hz "
                f"({LEAST_RATIO * self.tone_hz:g} Hz), not {self.second_tone_hz:g}."
            )

    @property
    def tones_hz(self) -> tuple[float, ...]:
        """See ``RailCode``."""
        return (self.tone_hz, self.second_tone_hz)
