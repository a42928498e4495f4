"""Ears: the input relays of one corner on the test tape, each heard once and only when it is asked for."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cached_property
from itertools import product

from ...contracts.keying import Keying
from .bench import Bench
from .corner import Surroundings
from .edges import Edges, Stays, TestTape, Times, edges_of, stays_of
from .listening import ContactEvents, listen
from .machine import Input, input_roles

KINDS_OF_TAPE = {-1: ("long",), 1: ("short", "long")}
"""Input relays that are tried on a slow tape and on a fast one: a slow tape is easier for all but the relay that must
not take a long clock for a mark."""

Variant = tuple[str, int, int, int]
"""An input relay's kind, its reservoir, its resistance and its filter's tuning, each at its least (-1) or most (1); the
tuning is 0 where there is no filter."""


@dataclass(frozen=True)
class Ears:
    """Both input relays in every variant, at one temperature, supply and speed."""

    tape: TestTape
    keying: Keying
    bench: Bench
    around: Surroundings
    _edges: dict[tuple[str, Variant], Edges | None] = field(default_factory=dict, repr=False, compare=False)
    _stays: dict[tuple[str, Variant], Stays] = field(default_factory=dict, repr=False, compare=False)
    _tone_stays: dict[tuple[Variant, float], Stays] = field(default_factory=dict, repr=False, compare=False)

    def variants(self) -> Iterator[Variant]:
        """All that are tried."""
        return product(KINDS_OF_TAPE[self.around.speed], (-1, 1), (-1, 1), (0,))

    def edges(self, role: str, variant: Variant) -> Edges | None:
        """Of the relay on that track; None if it does not close once for each burst."""
        if (role, variant) not in self._edges:
            relay = self._relay(role, variant)
            self._edges[role, variant] = edges_of(self._events(role, variant), self.bursts[role], relay)
        return self._edges[role, variant]

    def stays(self, role: str, variant: Variant) -> Stays:
        """The same, however they lie to the bursts."""
        if (role, variant) not in self._stays:
            self._stays[role, variant] = stays_of(self._events(role, variant), self._relay(role, variant))
        return self._stays[role, variant]

    def tone_stays(self, variant: Variant, late_s: float) -> Stays:
        """Of the second tone's relays of one variant, in parallel; that on the second track ``late_s`` later."""
        if (variant, late_s) not in self._tone_stays:
            first, second = (f"{role} tone" for role in input_roles(self.keying))
            both = self.stays(first, variant).beside(self.stays(second, variant).late_by(late_s))
            self._tone_stays[variant, late_s] = both
        return self._tone_stays[variant, late_s]

    @cached_property
    def bursts(self) -> dict[str, Times]:
        """Of each track: see ``TestTape.bursts``."""
        roles = input_roles(self.keying)
        return {role: self.tape.bursts(role, self.bench.relays, self.around.speed) for role in roles}

    def _relay(self, role: str, variant: Variant) -> Input:
        kind, reservoir, resistance, tuning = variant
        machine = self.bench.even(kind, self.around, resistance, reservoir, tuning)
        first, second = input_roles(self.keying)
        plain = {first: machine.clock, second: machine.data}
        return plain[role] if role in plain else machine.tones[role != f"{first} tone"]

    def _events(self, role: str, variant: Variant) -> ContactEvents:
        relay, track = self._relay(role, variant), self.keying.track(role.partition(" ")[0])
        told = self.bench.relays, self.around.speed, variant[0] == "long"
        if relay.tone_filter is None:
            heard = self.tape.played(*told)
        else:
            heard = self.tape.filtered(*told, relay.tone_filter, track)
        return listen(heard, track, relay.front_end, relay.coil, relay.armature)
