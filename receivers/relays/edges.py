"""Edges: when an input relay's contacts move about each burst of a test pattern, at the limits of set and tape.

The front end is followed as in a load, not by a formula: what the last burst left in the reservoir and the coil
counts, so a pattern is played in which bursts follow long silences and each other.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from ...contracts import bits as bytes_and_bits
from ...contracts.keying import Burst, KeyedLineCode
from ...contracts.signal import Signal
from .contact import bounce_s
from .front_end import listen
from .machine import Input
from .relay_set import RelaySet

PATTERN = bytes((0xF5, 0x2D, 0x80, 0x01, 0xAA))
"""Ones alone, in runs, after short and long silences, in the first and the last bit of a byte."""

RATE_HZ = 44_100
RUN_UP_S = 0.1
"""Silence kept before the first step: the relays start at rest anyway."""

Times = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Edges:
    """Times of one input relay at each burst; float64, shape (bursts,), in seconds.

    Attributes:
        touch_s, solid_s: make contact, first touch and end of bounce.
        leave_s: make contact opens.
        gone_s: break contact closed and still.
        lift_s: break contact opens, at this burst.
    """

    touch_s: Times
    solid_s: Times
    leave_s: Times
    gone_s: Times
    lift_s: Times


@dataclass(frozen=True)
class TestTape:
    """The pattern as a recording of ``code``."""

    code: KeyedLineCode

    @cached_property
    def _recording(self) -> Signal:
        whole = self.code.modulate(bytes_and_bits.from_bytes(PATTERN), RATE_HZ)
        first = max(round((self.code.keying().first_step_s - RUN_UP_S) * RATE_HZ), 0)
        return Signal(whole.samples[:, first:], RATE_HZ)

    @cached_property
    def _bursts(self) -> tuple[Burst, ...]:
        return self.code.bursts(bytes_and_bits.from_bytes(PATTERN))

    def played(self, relays: RelaySet, speed: int, loud: tuple[bool, bool]) -> Signal:
        """The tape at a limit of its speed, each track at the set's loudest or quietest level."""
        levels = np.array([[relays.tape.loudest_db if is_loud else relays.tape.quietest_db] for is_loud in loud])
        peak = np.abs(self._recording.samples).max(axis=1, keepdims=True)
        gains = (10 ** (levels / 20) / np.maximum(peak, 1e-9)).astype(np.float32)
        return Signal(self._recording.samples * gains, round(RATE_HZ * self.rate(relays, speed)))

    def rate(self, relays: RelaySet, speed: int) -> float:
        """How much faster than nominal the tape runs."""
        return round(RATE_HZ * (1 + speed * relays.tape.speed)) / RATE_HZ

    def bursts(self, role: str, relays: RelaySet, speed: int) -> Times:
        """Start and end of each burst of the pattern's bytes on a track, shape (bursts, 2), as played."""
        keying = self.code.keying()
        first = max(round((keying.first_step_s - RUN_UP_S) * RATE_HZ), 0) / RATE_HZ
        last = keying.first_step_s + len(PATTERN) * keying.seconds_a_byte
        track = keying.track(role)
        found = [
            (burst.start_s - first, burst.end_s - first)
            for burst in self._bursts
            if burst.track == track and keying.first_step_s - 1e-9 <= burst.start_s < last - 1e-9
        ]
        return np.array(found).reshape(-1, 2) / self.rate(relays, speed)


def edges_at(signal: Signal, track: int, bursts: Times, listening: Input) -> Edges | None:
    """The edges of one relay; None if its contacts do not close and open once for each burst."""
    from ...kernels.rectified_coil import BREAK_CLOSES, BREAK_OPENS, MAKE_CLOSES, MAKE_OPENS

    events = listen(signal, track, listening.front_end, listening.coil, listening.armature)
    by_kind = {
        kind: events.times_s[events.kinds == kind] for kind in (MAKE_OPENS, MAKE_CLOSES, BREAK_OPENS, BREAK_CLOSES)
    }
    count = len(bursts)
    if any(times.size < count for times in by_kind.values()):
        return None
    touch = by_kind[MAKE_CLOSES][:count]
    followers = np.append(bursts[1:, 0], np.inf)
    if not ((touch > bursts[:, 0]) & (touch < followers)).all():
        return None
    lift = by_kind[BREAK_OPENS][:count]
    if not ((lift > bursts[:, 0]) & (lift < touch)).all():
        return None
    currents = events.currents_a[events.kinds == MAKE_CLOSES][:count]
    bounce = np.array([bounce_s(float(now), listening.coil.pick_up_a, listening.bounce_s) for now in currents])
    return Edges(
        touch_s=touch,
        solid_s=touch + bounce,
        leave_s=by_kind[MAKE_OPENS][:count],
        gone_s=by_kind[BREAK_CLOSES][:count] + listening.bounce_s,
        lift_s=lift,
    )
