"""Edges: when an input relay's contacts move about each burst of a test pattern, at the limits of set and tape.

The front end is followed as in a load, not by a formula: what the last burst left in the reservoir and the coil
counts, so a pattern is played in which bursts follow long silences and each other.
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from functools import cached_property
from typing import Self

import numpy as np
from numpy.typing import NDArray

from ...contracts import bits as bytes_and_bits
from ...contracts.bits import Bits
from ...contracts.keying import Burst, KeyedLineCode
from ...contracts.relay_cost import RelayLineCode
from ...contracts.signal import Signal
from .contact import bounce_s
from .listening import ContactEvents
from .machine import Input
from .relay_set import RelaySet
from .tone_filter import ToneFilter

PATTERN = bytes((0xF5, 0x8A, 0x2D))
"""Every bit as a one and as a zero; ones alone, in runs, after short and long silences, first and last of a byte."""

PAIRS = bytes((0xC6, 0x39, 0x4F))
"""The same for two bits a step: on either track the second tone before and after the first, and each alone."""

GROUPS = 3
"""Groups of a pattern."""

RATE_HZ = 44_100
RUN_UP_S = 0.1
"""Silence kept before the first step: the relays start at rest anyway."""

Times = NDArray[np.float64]


def pattern_bits(group_bits: int, bits_a_step: int) -> Bits:
    """The pattern for groups of that size, shape (GROUPS, group_bits): in the second each bit of the first turned.

    >>> np.packbits(pattern_bits(8, 1)).tobytes() == PATTERN, np.packbits(pattern_bits(8, 2)).tobytes() == PAIRS
    (True, True)
    """
    told = bytes_and_bits.from_bytes(PATTERN if bits_a_step == 1 else PAIRS)
    if group_bits == told.size // GROUPS:
        return told.reshape(GROUPS, group_bits)
    first, third = np.resize(told, group_bits), np.resize(np.roll(told, told.size // GROUPS), group_bits)
    return np.stack([first, 1 - first, third]).astype(np.uint8)


@dataclass(frozen=True, slots=True)
class Stays:
    """When a make contact was closed; float64, shape (stays,), in seconds.

    Attributes:
        touch_s, solid_s: first touch and end of bounce.
        leave_s: it opens.
    """

    touch_s: Times
    solid_s: Times
    leave_s: Times

    def late_by(self, shift_s: float) -> Self:
        """The same on a track that comes ``shift_s`` later."""
        return type(self)(*(getattr(self, field.name) + shift_s for field in fields(self)))

    def beside(self, other: Stays) -> Stays:
        """Those of two contacts in parallel."""
        return Stays(*(np.concatenate([getattr(one, field.name) for one in (self, other)]) for field in fields(Stays)))


@dataclass(frozen=True, slots=True)
class Edges(Stays):
    """Times of a relay that closed once for each burst; shape (bursts,).

    Attributes:
        gone_s: break contact closed and still, after this burst.
        lift_s: break contact opens, at this burst.
    """

    gone_s: Times
    lift_s: Times


@dataclass(frozen=True)
class TestTape:
    """The pattern as a recording of ``code``; what was played or filtered once is kept."""

    code: KeyedLineCode
    _played: dict[tuple[int, bool], Signal] = field(default_factory=dict, repr=False, compare=False)
    _filtered: dict[tuple[int, bool, ToneFilter, int], Signal] = field(default_factory=dict, repr=False, compare=False)

    @cached_property
    def _bits(self) -> Bits:
        keying = self.code.keying()
        bits_a_step = 1 + len(keying.more_tones_hz)
        held = self.code.group_bits if isinstance(self.code, RelayLineCode) else keying.data_steps * bits_a_step
        return pattern_bits(held, bits_a_step).ravel()

    @cached_property
    def _recording(self) -> Signal:
        whole = self.code.modulate(self._bits, RATE_HZ)
        first = max(round((self.code.keying().first_step_s - RUN_UP_S) * RATE_HZ), 0)
        return Signal(whole.samples[:, first:], RATE_HZ)

    @cached_property
    def _bursts(self) -> tuple[Burst, ...]:
        return self.code.bursts(self._bits)

    def played(self, relays: RelaySet, speed: int, loud: bool) -> Signal:
        """The tape at a limit of its speed, both tracks at the set's loudest or quietest level."""
        if (speed, loud) not in self._played:
            self._played[speed, loud] = self._at(relays, speed, loud)
        return self._played[speed, loud]

    def filtered(self, relays: RelaySet, speed: int, loud: bool, tone_filter: ToneFilter, track: int) -> Signal:
        """The same, what ``tone_filter`` lets through of one track."""
        key = (speed, loud, tone_filter, track)
        if key not in self._filtered:
            self._filtered[key] = tone_filter.passed(self.played(relays, speed, loud), track)
        return self._filtered[key]

    def _at(self, relays: RelaySet, speed: int, loud: bool) -> Signal:
        level = relays.tape.loudest_db if loud else relays.tape.quietest_db
        peak = np.abs(self._recording.samples).max(axis=1, keepdims=True)
        gains = (10 ** (level / 20) / np.maximum(peak, 1e-9)).astype(np.float32)
        return Signal.owning(self._recording.samples * gains, round(RATE_HZ * self.rate(relays, speed)))

    def rate(self, relays: RelaySet, speed: int) -> float:
        """How much faster than nominal the tape runs."""
        return round(RATE_HZ * (1 + speed * relays.tape.speed)) / RATE_HZ

    def bursts(self, role: str, relays: RelaySet, speed: int) -> Times:
        """Start and end of each burst of the pattern's bytes on a track, shape (bursts, 2), as played."""
        keying = self.code.keying()
        first = max(round((keying.first_step_s - RUN_UP_S) * RATE_HZ), 0) / RATE_HZ
        last = keying.first_step_s + GROUPS * keying.seconds_a_byte
        track = keying.track(role)
        found = [
            (burst.start_s - first, burst.end_s - first)
            for burst in self._bursts
            if burst.track == track and keying.first_step_s - 1e-9 <= burst.start_s < last - 1e-9
        ]
        return np.array(found).reshape(-1, 2) / self.rate(relays, speed)


def _times(events: ContactEvents, kind: int) -> Times:
    times: Times = events.times_s[events.kinds == kind]
    return times


def stays_of(events: ContactEvents, listening: Input) -> Stays:
    """The stays of a relay's make contact, however they lie to the bursts; one that never ends is left out."""
    from ...kernels.rectified_coil import MAKE_CLOSES, MAKE_OPENS

    leave = _times(events, MAKE_OPENS)
    touch = _times(events, MAKE_CLOSES)[: leave.size]
    currents = events.currents_a[events.kinds == MAKE_CLOSES][: leave.size]
    bounce = [bounce_s(float(now), listening.coil.pick_up_a, listening.bounce_s) for now in currents]
    return Stays(touch, touch + np.array(bounce), leave)


def joined(zero: Edges, one: Edges, zero_bursts: Times, one_bursts: Times) -> Edges:
    """The clock of two rails: make contacts in parallel, break contacts in series. Shape (steps,).

    Args:
        zero, one: edges of the two relays.
        zero_bursts, one_bursts: start and end of their bursts, on tapes without skew.
    """
    starts = np.unique(np.concatenate([zero_bursts[:, 0], one_bursts[:, 0]]))

    def by_step(name: str, absent: float) -> Times:
        rows = np.full((2, starts.size), absent)
        for row, edges, bursts in zip(rows, (zero, one), (zero_bursts, one_bursts), strict=True):
            row[np.searchsorted(starts, bursts[:, 0])] = getattr(edges, name)
        return rows

    return Edges(
        touch_s=by_step("touch_s", np.inf).min(axis=0),
        solid_s=by_step("solid_s", np.inf).min(axis=0),
        leave_s=by_step("leave_s", -np.inf).max(axis=0),
        # A rail that is silent in this step may still be letting go from the one before.
        gone_s=np.maximum.accumulate(by_step("gone_s", -np.inf).max(axis=0)),
        lift_s=by_step("lift_s", np.inf).min(axis=0),
    )


def edges_of(events: ContactEvents, bursts: Times, listening: Input) -> Edges | None:
    """The edges of one relay; None if its contacts do not close and open once for each burst."""
    from ...kernels.rectified_coil import BREAK_CLOSES, BREAK_OPENS

    stays = stays_of(events, listening)
    gone, lift = _times(events, BREAK_CLOSES), _times(events, BREAK_OPENS)
    count = len(bursts)
    if min(stays.touch_s.size, gone.size, lift.size) < count:
        return None
    touch, lift = stays.touch_s[:count], lift[:count]
    followers = np.append(bursts[1:, 0], np.inf)
    if not ((lift > bursts[:, 0]) & (lift < touch) & (touch < followers)).all():
        return None
    return Edges(touch, stays.solid_s[:count], stays.leave_s[:count], gone[:count] + listening.bounce_s, lift)
