"""Two tracks, a clock and a data: the code that relays alone can read."""

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
from .tone_bursts import draw_spans

Bursts = NDArray[np.float64]

END_MARK_BURSTS = 4
"""Length of the end mark, in bursts."""


@dataclass(frozen=True)
class Clocked(KeyedLineCode):
    """One track carries a clock burst a step, the other a data burst in each step whose bit is 1.

    **Tape**, in this order::

        line_up_s   steady tone on both tracks
        leader_s    silence
        groups      group_bits data steps and extra_steps extra steps each, in one unbroken cadence
        end mark    one long step, if end_mark
        tail_s      silence

    A group is a byte unless a layer sends more bits with each (a parity bit makes it 9). A bit stream that is no
    multiple of ``group_bits`` is padded with zeros to a whole group on tape.

    **One step** that starts at 0 and lasts T = step_ms, with B = burst_share * T and L = lead_ms::

        time    0        L                    L+B                 T
        data    |=========XXXXXXXXXXXXXXXXXXXXX|                   |  only if the bit is 1: on from 0 to L+B
        clock   |        |XXXXXXXXXXXXXXXXXXXXX|                   |  every step: on from L to L+B
                 data leads; X: the clock reads the data; both are silent from L+B to T

    * data step: clock as drawn, data as drawn if its bit is 1. Those of a group come first, in ``bit_order``.
    * extra step: clock as drawn, data silent. In these a relay machine writes and counts up.
    * reset mark: with ``reset_mark`` the **first data step of each group** is longer by B, and so are its bursts: clock
      on from L to L+2B, data (if 1) from 0 to L+2B, the step lasts T+B. Every silence keeps its length.
    * end mark: in place of a group's first step; clock on from L to L+4B **and** data on from 0 to L+4B, the step
      lasts T+3B. Neither a reset mark (2B) nor a data step reaches that long; the line-up tone lasts longer but comes
      before the leader, so a machine is armed after it.

    A group lasts (group_bits + extra_steps) * T, with reset marks B more. Every burst is cut from one sine that runs
    through the whole tape (phase-continuous). The keying rises over the first ``edge_ms`` of a burst and falls over
    its last as a raised cosine, inside the times above, which are rounded to frames; at half amplitude a burst
    starts edge_ms/2 later and ends edge_ms/2 earlier. ``level_db`` is the peak of the tone re full scale.
    """

    name = "clocked"
    summary = "A clock burst a step on one track, a data burst for each 1 on the other: relays can read it."
    needs = "relays"
    hands_on = "whole_bytes"

    tone_hz: float = parameter(3000.0, "Tone of all bursts.", unit="Hz", low=100, high=20_000)
    step_ms: float = parameter(60.0, "Length of a step.", unit="ms", low=2, high=2_000)
    burst_share: float = parameter(0.4, "Length of a clock burst as a share of a step.", low=0.05, high=0.8)
    lead_ms: float = parameter(
        10.0, "How long before its clock burst a data burst starts.", unit="ms", low=0, high=1_000
    )
    group_bits: int = parameter(8, "Data steps of a group: a byte, and what a layer adds to it.", low=1, high=64)
    extra_steps: int = parameter(4, "Steps without data after the data steps of a group.", low=0, high=64)
    reset_mark: bool = parameter(True, "The first clock burst of each group is twice as long.")
    bit_order: str = parameter("msb", "Which bit of a group comes first.", choices=("msb", "lsb"))
    clock_track: str = parameter("left", "Which track carries the clock.", choices=("left", "right"))
    line_up_s: float = parameter(2.0, "Steady tone on both tracks for setting levels.", unit="s", low=0, high=120)
    leader_s: float = parameter(1.0, "Silence before the first step.", unit="s", low=0, high=120)
    tail_s: float = parameter(0.25, "Silence after the last step.", unit="s", low=0, high=120)
    end_mark: bool = parameter(True, "A clock and data burst of four bursts' length after the last group.")
    level_db: float = parameter(-1.0, "Peak of the tone re full scale.", unit="dB", low=-60, high=0)
    edge_ms: float = parameter(2.0, "Raised-cosine rise and fall of a burst.", unit="ms", low=0, high=100)

    def check(self) -> None:
        """See ``PlugIn``."""
        if self.burst_s * self.tone_hz < 8.0:
            raise UsageError(
                f"clocked: a burst must hold at least 8 cycles of the tone, not {self.burst_s * self.tone_hz:.3g} "
                f"(step_ms * burst_share * tone_hz / 1000)."
            )
        if self.lead_s + self.burst_s > 0.9 * self.step_s:
            raise UsageError(
                f"clocked: lead_ms and burst together must leave a tenth of a step silent: at most "
                f"{900 * self.step_s:g} ms, not {1000 * (self.lead_s + self.burst_s):g} ms."
            )
        if self.edge_ms > 500 * self.burst_s:
            raise UsageError(
                f"clocked: parameter 'edge_ms' must be at most half a burst ({500 * self.burst_s:g} ms), "
                f"not {self.edge_ms:g}."
            )

    @property
    def tolerates(self) -> frozenset[str]:
        """Bursts have no polarity."""
        return frozenset({"polarity"})

    @property
    def step_s(self) -> float:
        """T, in seconds."""
        return self.step_ms / 1000.0

    @property
    def burst_s(self) -> float:
        """B, in seconds."""
        return self.burst_share * self.step_s

    @property
    def lead_s(self) -> float:
        """L, in seconds."""
        return self.lead_ms / 1000.0

    @property
    def mark_s(self) -> float:
        """What the reset mark adds to the first step of a group, in seconds."""
        return self.burst_s if self.reset_mark else 0.0

    @property
    def data_steps(self) -> int:
        """Steps of a group that carry a bit."""
        return self.group_bits

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

    def schedule(self, bits: Bits) -> tuple[Bursts, Bursts]:
        """When the tone is on: clock bursts and data bursts, each shape (bursts, 2): start and end in seconds."""
        count = self.group_bits
        on_tape = np.concatenate([bits, np.zeros(-bits.size % count, np.uint8)]).reshape(-1, count)
        if self.bit_order == "lsb":
            on_tape = on_tape[:, ::-1]
        places = np.arange(count + self.extra_steps)
        longer_s = np.where(places == 0, self.mark_s, 0.0)
        within_s = places * self.step_s + np.where(places > 0, self.mark_s, 0.0)
        starts_s = self._end_s(0) + np.arange(len(on_tape))[:, None] * self.group_s + within_s
        ends_s = starts_s + self.lead_s + self.burst_s + longer_s
        ones = np.zeros(starts_s.shape, bool)
        ones[:, :count] = on_tape > 0
        clock = [np.stack([starts_s.ravel() + self.lead_s, ends_s.ravel()], 1)]
        data = [np.stack([starts_s[ones], ends_s[ones]], 1)]
        if self.line_up_s > 0:
            for track in (clock, data):
                track.insert(0, np.array([[0.0, self.line_up_s]]))
        if self.end_mark:
            start_s = self._end_s(len(on_tape))
            end_s = start_s + self.lead_s + END_MARK_BURSTS * self.burst_s
            clock.append(np.array([[start_s + self.lead_s, end_s]]))
            data.append(np.array([[start_s, end_s]]))
        return np.concatenate(clock), np.concatenate(data)

    def keying(self) -> Keying:
        """See ``KeyedLineCode``."""
        return Keying(
            tone_hz=self.tone_hz,
            step_s=self.step_s,
            roles=("clock", "data") if self.clock_track == "left" else ("data", "clock"),
            clock_burst_s=self.burst_s,
            data_burst_s=self.lead_s + self.burst_s,
            lead_s=self.lead_s,
            data_steps=self.data_steps,
            extra_steps=self.extra_steps,
            first_step_s=self._end_s(0),
            line_up_s=self.line_up_s,
            mark_s=2 * self.burst_s if self.reset_mark else None,
            mark_extra_s=self.mark_s,
            least_significant_first=self.bit_order == "lsb",
            end_mark_s=END_MARK_BURSTS * self.burst_s if self.end_mark else None,
        )

    def bursts(self, bits: Bits) -> tuple[Burst, ...]:
        """See ``KeyedLineCode``."""
        roles = self.keying().roles
        found = [
            Burst(roles.index(role), start_s, end_s, self.tone_hz)
            for role, scheduled in zip(("clock", "data"), self.schedule(bits), strict=True)
            for start_s, end_s in scheduled.tolist()
        ]
        return tuple(sorted(found, key=lambda burst: (burst.start_s, burst.track)))

    def at_step(self, step_s: float) -> Self:
        """See ``KeyedLineCode``."""
        scale = step_s / self.step_s
        return replace(self, step_ms=1000 * step_s, lead_ms=scale * self.lead_ms, edge_ms=scale * self.edge_ms)

    def relay_cost(self) -> RelayCost:
        """See ``RelayLineCode``."""
        return follower_cost(self.keying(), self.group_bits)

    def modulate(self, bits: Bits, sample_rate_hz: int = 44_100) -> Signal:
        """See ``LineCode``.

        Raises:
            UsageError: a tone at or above half the sample rate.
        """
        if self.tone_hz >= sample_rate_hz / 2:
            raise UsageError(
                f"clocked: parameter 'tone_hz' must be below half the sample rate ({sample_rate_hz / 2:g} Hz), "
                f"not {self.tone_hz:g}."
            )
        scheduled = self.schedule(bits)
        spans_s = np.concatenate(scheduled)
        roles = self.keying().roles
        tracks = np.repeat([roles.index("clock"), roles.index("data")], [len(scheduled[0]), len(scheduled[1])])
        tones_hz = np.full(len(spans_s), self.tone_hz)
        duration_s, edge_s = self.duration_s(bits.size), self.edge_ms / 1000
        return draw_spans(tracks, spans_s, tones_hz, duration_s, sample_rate_hz, self.level_db, edge_s)

    def demodulate(self, signal: Signal) -> SoftBits:
        """See ``LineCode``."""
        from .clocked_decoder import demodulate

        return demodulate(self, signal)
