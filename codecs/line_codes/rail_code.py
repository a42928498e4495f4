"""Rails: in each step one burst on one of several rails, and which rail it is is the data. No clock track.

A rail is a track at a tone. The burst is the step and the data at once (return to zero, one of n, delay-insensitive):
whatever skew and speed do, clock and data cannot come out of step, because they are one.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Self

import numpy as np
from numpy.typing import NDArray

from ...contracts.bits import Bits
from ...contracts.errors import UsageError
from ...contracts.keying import Burst, KeyedLineCode, Keying
from ...contracts.parameters import parameter
from ...contracts.relay_cost import RelayCost, follower_cost
from ...contracts.signal import Signal
from ...contracts.soft_bits import SoftBits
from .tone_bursts import draw

END_MARK_BURSTS = 4
"""Length of the end mark, in bursts."""


@dataclass(frozen=True)
class RailCode(KeyedLineCode):
    """Base of the codes that have two tracks with one rail or more on each.

    **Tape**, in this order::

        line_up_s   steady tone on both tracks
        leader_s    silence
        groups      data steps and extra_steps extra steps each, in one unbroken cadence
        end mark    one long step, if end_mark
        tail_s      silence

    **One step** that starts at 0 and lasts T = step_ms, with B = burst_share * T: tone from 0 to B, silence to T.

    * data step: tone on one rail alone. A group of ``group_bits`` bits in ``bit_order`` is cut into as many steps as it
      takes; bits that are missing in the last are 0, and so are those that fill up the last group.
    * extra step: tone on both tracks, at the lower tone: a step without data. In these a relay machine writes and
      counts up.
    * reset mark: with ``reset_mark`` the burst of the **first data step of each group** lasts 2B, the step T+B.
    * end mark: in place of a group's first step; both tracks, at the lower tone, from 0 to 4B, the step lasts T+3B.
      The line-up tone lasts longer but comes before the leader, so a machine is armed after it.

    Bursts of one tone are cut from one sine that runs through the whole tape. The keying rises over the first
    ``edge_ms`` of a burst and falls over its last as a raised cosine, inside the times above, which are rounded to
    frames. ``level_db`` is the peak of the tone re full scale.
    """

    needs = "relays"
    hands_on = "whole_bytes"

    tone_hz: float = parameter(3000.0, "Tone of the bursts.", unit="Hz", low=100, high=20_000)
    step_ms: float = parameter(50.0, "Length of a step.", unit="ms", low=2, high=2_000)
    burst_share: float = parameter(0.48, "Length of a burst as a share of a step.", low=0.05, high=0.9)
    group_bits: int = parameter(8, "Bits of a group: a byte, and what a layer adds to it.", low=1, high=64)
    extra_steps: int = parameter(4, "Steps without data after the data steps of a group.", low=0, high=64)
    reset_mark: bool = parameter(True, "The first burst of each group is twice as long.")
    bit_order: str = parameter("msb", "Which bit of a group comes first.", choices=("msb", "lsb"))
    one_track: str = parameter("right", "Which track carries the ones.", choices=("left", "right"))
    line_up_s: float = parameter(2.0, "Steady tone on both tracks for setting levels.", unit="s", low=0, high=120)
    leader_s: float = parameter(1.0, "Silence before the first step.", unit="s", low=0, high=120)
    tail_s: float = parameter(0.25, "Silence after the last step.", unit="s", low=0, high=120)
    end_mark: bool = parameter(True, "A burst of four bursts' length on both tracks after the last group.")
    level_db: float = parameter(-1.0, "Peak of the tone re full scale.", unit="dB", low=-60, high=0)
    edge_ms: float = parameter(2.0, "Raised-cosine rise and fall of a burst.", unit="ms", low=0, high=100)

    def check(self) -> None:
        """See ``PlugIn``."""
        if self.burst_s * min(self.tones_hz) < 8.0:
            raise UsageError(
                f"{self.name}: a burst must hold at least 8 cycles of the tone, "
                f"not {self.burst_s * min(self.tones_hz):.3g} (step_ms * burst_share * tone_hz / 1000)."
            )
        if self.edge_ms > 500 * self.burst_s:
            raise UsageError(
                f"{self.name}: parameter 'edge_ms' must be at most half a burst ({500 * self.burst_s:g} ms), "
                f"not {self.edge_ms:g}."
            )

    @property
    def tones_hz(self) -> tuple[float, ...]:
        """The tones that a track can carry, in the order of the bits they say."""
        return (self.tone_hz,)

    @property
    def rails(self) -> tuple[tuple[int, float], ...]:
        """Track (0 = left, 1 = right) and tone of each rail, in the order of the numbers that its burst says.

        The track is the more significant bit of that number, the tone the less.
        """
        zero, one = (1, 0) if self.one_track == "left" else (0, 1)
        return tuple((track, tone_hz) for track in (zero, one) for tone_hz in self.tones_hz)

    @property
    def tolerates(self) -> frozenset[str]:
        """Bursts have no polarity."""
        return frozenset({"polarity"})

    @property
    def bits_a_step(self) -> int:
        """Bits that one burst says."""
        return (len(self.rails) - 1).bit_length()

    @property
    def step_s(self) -> float:
        """T, in seconds."""
        return self.step_ms / 1000.0

    @property
    def burst_s(self) -> float:
        """B, in seconds."""
        return self.burst_share * self.step_s

    @property
    def mark_s(self) -> float:
        """What the reset mark adds to the first step of a group, in seconds."""
        return self.burst_s if self.reset_mark else 0.0

    @property
    def data_steps(self) -> int:
        """Steps of a group that carry bits."""
        return -(-self.group_bits // self.bits_a_step)

    @property
    def group_s(self) -> float:
        """Length of a group on tape, in seconds."""
        return (self.data_steps + self.extra_steps) * self.step_s + self.mark_s

    def _end_s(self, groups: int) -> float:
        return self.line_up_s + self.leader_s + groups * self.group_s

    def duration_s(self, bits: int) -> float:
        """See ``LineCode``."""
        end_step_s = self.step_s + (END_MARK_BURSTS - 1) * self.burst_s if self.end_mark else 0.0
        return self._end_s(-(-bits // self.group_bits)) + end_step_s + self.tail_s

    def steps(self, bits: Bits) -> NDArray[np.uint8]:
        """The number that each data step says, shape (groups, data_steps)."""
        count, width = self.group_bits, self.bits_a_step
        groups = np.concatenate([bits, np.zeros(-bits.size % count, np.uint8)]).reshape(-1, count)
        if self.bit_order == "lsb":
            groups = groups[:, ::-1]
        filled = np.zeros((len(groups), self.data_steps * width), np.uint8)
        filled[:, :count] = groups
        weights = 1 << np.arange(width)[::-1]
        return np.asarray(filled.reshape(-1, self.data_steps, width) @ weights, np.uint8)

    def keying(self) -> Keying:
        """See ``KeyedLineCode``."""
        return Keying(
            tone_hz=self.tone_hz,
            step_s=self.step_s,
            roles=("zero", "one") if self.one_track == "right" else ("one", "zero"),
            clock_burst_s=self.burst_s,
            data_burst_s=self.burst_s,
            lead_s=0.0,
            data_steps=self.data_steps,
            extra_steps=self.extra_steps,
            first_step_s=self._end_s(0),
            line_up_s=self.line_up_s,
            mark_s=2 * self.burst_s if self.reset_mark else None,
            mark_extra_s=self.mark_s,
            least_significant_first=self.bit_order == "lsb",
            end_mark_s=END_MARK_BURSTS * self.burst_s if self.end_mark else None,
            more_tones_hz=self.tones_hz[1:],
        )

    def bursts(self, bits: Bits) -> tuple[Burst, ...]:
        """See ``KeyedLineCode``."""
        rails = self.rails
        found = []

        def both(start_s: float, length_s: float) -> None:
            for track in (0, 1):
                found.append(Burst(track, start_s, start_s + length_s, self.tone_hz))

        if self.line_up_s > 0:
            both(0.0, self.line_up_s)
        start_s = self._end_s(0)
        for number, group in enumerate(self.steps(bits).tolist()):
            start_s = self._end_s(number)
            for place, said in enumerate(group):
                track, tone_hz = rails[said]
                length_s = self.burst_s + (0.0 if place else self.mark_s)
                found.append(Burst(track, start_s, start_s + length_s, tone_hz))
                start_s += self.step_s + (0.0 if place else self.mark_s)
            for _ in range(self.extra_steps):
                both(start_s, self.burst_s)
                start_s += self.step_s
        if self.end_mark:
            both(self._end_s(-(-bits.size // self.group_bits)), END_MARK_BURSTS * self.burst_s)
        return tuple(found)

    def at_step(self, step_s: float) -> Self:
        """See ``KeyedLineCode``."""
        return replace(self, step_ms=1000 * step_s, edge_ms=self.edge_ms * step_s / self.step_s)

    def relay_cost(self) -> RelayCost:
        """See ``RelayLineCode``."""
        return follower_cost(self.keying(), self.group_bits)

    def modulate(self, bits: Bits, sample_rate_hz: int = 44_100) -> Signal:
        """See ``LineCode``.

        Raises:
            UsageError: a tone at or above half the sample rate.
        """
        if max(self.tones_hz) >= sample_rate_hz / 2:
            raise UsageError(
                f"{self.name}: every tone must be below half the sample rate ({sample_rate_hz / 2:g} Hz), "
                f"not {max(self.tones_hz):g}."
            )
        return draw(self.bursts(bits), self.duration_s(bits.size), sample_rate_hz, self.level_db, self.edge_ms / 1000)

    def demodulate(self, signal: Signal) -> SoftBits:
        """See ``LineCode``."""
        from .rail_decoder import demodulate

        return demodulate(self, signal)
