"""Keying: a line code of tone bursts as hardware sees it, so that a receiver can plan for it without knowing its name.

A keyed line code sends, step after step, bursts of one tone on two tracks. Each track has a role: ``clock`` and
``data`` (a burst on the data track is a 1), or ``zero`` and ``one`` (a burst on either is the bit, and the step; on
both it is a step without data). Where bursts come in more tones than one, the tone says one bit more.
``keying`` states the pattern; ``bursts`` lists what is on the tape for given bits. Times are tape times at nominal
speed, in seconds from the first frame.

Law: ``bursts`` are sorted by start, do not overlap on one track, and are the sound of ``modulate``: where no burst
is, the track is silent. ``at_step(s).keying()`` has the same shares of a step as ``keying()``.
"""

from __future__ import annotations

from abc import abstractmethod
from dataclasses import dataclass
from typing import Self

from .bits import Bits
from .errors import UsageError
from .line_code import LineCode

ROLES = (("clock", "data"), ("zero", "one"))
"""The pairs of roles that two tracks can have."""


@dataclass(frozen=True, slots=True)
class Burst:
    """One burst of tone.

    Attributes:
        track: 0 = left, 1 = right.
        start_s, end_s: where it stands on the tape.
        tone_hz: its frequency.
    """

    track: int
    start_s: float
    end_s: float
    tone_hz: float

    @property
    def length_s(self) -> float:
        """How long it sounds."""
        return self.end_s - self.start_s


@dataclass(frozen=True, slots=True)
class Keying:
    """The pattern of a keyed line code.

    Attributes:
        tone_hz: frequency of the bursts.
        step_s: from one step to the next.
        roles: of the left and the right track.
        clock_burst_s: length of a clock burst (of any burst where there is no clock track).
        data_burst_s: length of a data burst.
        lead_s: how long a data burst starts before its clock burst; negative if after it.
        data_steps: steps that carry a bit, in a byte.
        extra_steps: steps without data after them.
        first_step_s: start of the first step: what stands before it is leader, line-up tone and silence.
        line_up_s: length of the line-up tone in that leader; 0 if there is none.
        mark_s: length of the first clock burst of a byte if it is longer, as a reset mark; None without one.
        mark_extra_s: how much longer that makes the byte.
        least_significant_first: order of the bits of a byte on the tape.
        end_mark_s: length of the burst that ends the recording; None without one.
        more_tones_hz: tones beside ``tone_hz`` that a data burst may have; a step then carries more bits than one.

    Raises:
        UsageError: roles that are no pair of ``ROLES``, no data step, or a length that is not positive.
    """

    tone_hz: float
    step_s: float
    roles: tuple[str, str]
    clock_burst_s: float
    data_burst_s: float
    lead_s: float
    data_steps: int
    extra_steps: int
    first_step_s: float
    line_up_s: float = 0.0
    mark_s: float | None = None
    mark_extra_s: float = 0.0
    least_significant_first: bool = False
    end_mark_s: float | None = None
    more_tones_hz: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        if tuple(sorted(self.roles)) not in {tuple(sorted(pair)) for pair in ROLES}:
            raise UsageError(f"Argument 'roles' must be clock and data, or zero and one, not {self.roles}.")
        for name in ("tone_hz", "step_s", "clock_burst_s", "data_burst_s"):
            if not getattr(self, name) > 0:
                raise UsageError(f"Argument '{name}' must be above 0, not {getattr(self, name):g}.")
        if self.data_steps < 1 or self.extra_steps < 0:
            raise UsageError(
                f"A byte must have at least 1 data step and no negative number of extra steps, "
                f"not {self.data_steps} and {self.extra_steps}."
            )

    def track(self, role: str) -> int:
        """Which track (0 = left, 1 = right) has ``role``.

        >>> Keying(3000, 0.06, ("clock", "data"), 0.03, 0.04, 0.005, 8, 4, 1.0).track("data")
        1
        """
        return self.roles.index(role)

    @property
    def steps_a_byte(self) -> int:
        """Steps from the start of one byte to the start of the next."""
        return self.data_steps + self.extra_steps

    @property
    def seconds_a_byte(self) -> float:
        """Tape time of one byte."""
        return self.steps_a_byte * self.step_s + self.mark_extra_s


@dataclass(frozen=True)
class KeyedLineCode(LineCode):
    """Base of every line code that is made of tone bursts."""

    @abstractmethod
    def keying(self) -> Keying:
        """The pattern."""

    @abstractmethod
    def bursts(self, bits: Bits) -> tuple[Burst, ...]:
        """What stands on the tape for ``bits``, line-up tone and end mark included, sorted by start."""

    @abstractmethod
    def at_step(self, step_s: float) -> Self:
        """The same code at another step: bursts, lead and mark keep their shares of a step.

        Raises:
            UsageError: a step that the code cannot have.
        """
