"""Corner: a machine and a tape at their limits, all against one path.

A relay stands in one of five ways: ``slow`` (in late, out late), ``fast`` (in early, out early), ``short`` (in late,
out early), ``long`` (in early, out late) and ``lasting`` (long, and its contact hardly bounces). Temperature, supply
and tape speed stand at one limit each.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from .machine import Machine, Place
from .relay_type import Switched

# A higher pick-up comes in later, a higher drop-out lets go earlier; a lower resistance does both later, for the same
# voltages, because L/R is longer. The bounce of the make contact ends late, and that of the break contact too, so that
# the longest is the worst whichever counts. Where the resistance cannot suit both sides it suits the coming in; for an
# input relay both are tried.
PLACES: dict[str, dict[str, float]] = {
    "slow": {"resistance": -1, "pick_up": 1, "operate": 1, "drop_out": -1, "release": 1, "bounce": 1},
    "fast": {"resistance": 1, "pick_up": -1, "operate": -1, "drop_out": 1, "release": -1, "bounce": -1},
    "short": {"resistance": -1, "pick_up": 1, "operate": 1, "drop_out": 1, "release": -1, "bounce": 1},
    "long": {"resistance": 1, "pick_up": -1, "operate": -1, "drop_out": -1, "release": 1, "bounce": 1},
    "lasting": {"resistance": 1, "pick_up": -1, "operate": -1, "drop_out": -1, "release": 1, "bounce": -1},
}


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What all relays share, each at -1 or 1.

    Attributes:
        temperature: cold or hot.
        supply: 10 % low and sagging, or high and unloaded.
        speed: tape slow or fast.
    """

    temperature: int
    supply: int
    speed: int


@dataclass(frozen=True, slots=True)
class Corner:
    """One corner.

    Attributes:
        surroundings: what is shared.
        kinds: role to kind; ``step``, ``arm``, ``bit`` and ``bank`` stand for all relays of that name.
        inputs: ``clock``, ``data``, ``zero`` or ``one`` (``zero tone`` for its second tone), its capacitor, its coil's
            resistance and its filter's tuning, each at its least (-1) or most (1).
        skew: -1, 0 or 1: the data track, or the one rail, early, in time or late by the set's limit.
    """

    surroundings: Surroundings
    kinds: tuple[tuple[str, str], ...]
    inputs: tuple[tuple[str, int, int, int], ...] = ()
    skew: int = 0

    def place(self) -> Place:
        """Where each figure stands; what no role speaks of is typical."""
        kinds = dict(self.kinds)
        inputs = {
            (role, quantity): place
            for role, *places in self.inputs
            for quantity, place in zip(("reservoir", "resistance", "tuning"), places, strict=True)
        }

        def place(role: str, quantity: str) -> float:
            if quantity == "temperature":
                return self.surroundings.temperature
            if quantity == "voltage":
                return self.surroundings.supply
            if quantity == "sag":
                return -self.surroundings.supply
            if (role, quantity) in inputs:
                return inputs[role, quantity]
            kind = kinds.get(role) or kinds.get(role.split(" ")[0], "")
            if quantity == "delay":
                return {"slow": 1.0, "fast": -1.0}.get(kind, 0.0)
            return PLACES[kind].get(quantity, 0.0) if kind else 0.0

        return place

    def loud(self, role: str) -> bool:
        """Whether that track plays at the set's loudest: so for a contact that stays long, else at the quietest."""
        return dict(self.kinds).get(role) in ("long", "lasting", "fast")

    @property
    def bounces(self) -> str:
        """How the input relays' closings bounce there."""
        return "shortest" if "lasting" in dict(self.kinds).values() else "longest"


def everywhere(kind: str, surroundings: Surroundings, resistance: int, reservoir: int = 0, tuning: int = 0) -> Place:
    """Every relay of that kind at once, all windings at one limit: for reading off figures."""

    def place(role: str, quantity: str) -> float:
        if quantity == "temperature":
            return surroundings.temperature
        if quantity == "voltage":
            return surroundings.supply
        if quantity == "sag":
            return -surroundings.supply
        if quantity == "reservoir":
            return reservoir
        if quantity == "resistance":
            return resistance
        if quantity == "tuning":
            return tuning
        if quantity == "delay":
            return 1.0 if kind in ("slow", "short") else -1.0
        return PLACES[kind][quantity]

    return place


def worse(kind: str, one: Switched, other: Switched) -> Switched:
    """Of two relays of one kind, the later or earlier coming in and the later or earlier letting go."""
    comes_in = max if kind in ("slow", "short") else min
    lets_go = max if kind in ("slow", "long") else min
    return Switched(
        comes_in(one.operate_s, other.operate_s),
        one.bounce_s,
        lets_go(one.leave_s, other.leave_s),
        lets_go(one.release_s, other.release_s),
    )


def worst_machine(kind: str, one: Machine, other: Machine) -> Machine:
    """The switched relays of two machines of one kind, each at its worse: no machine can be worse."""

    def each(ones: tuple[Switched, ...], others: tuple[Switched, ...]) -> tuple[Switched, ...]:
        return tuple(worse(kind, *pair) for pair in zip(ones, others, strict=True))

    repeaters = [repeater for repeater in (one.repeater, other.repeater) if repeater is not None]
    return replace(
        one,
        repeater=worse(kind, *repeaters) if repeaters else None,
        steps=each(one.steps, other.steps),
        arms=each(one.arms, other.arms),
        lines={name: worse(kind, line, other.lines[name]) for name, line in one.lines.items()},
        latches=each(one.latches, other.latches),
        bank=each(one.bank, other.bank),
        counter=worse(kind, one.counter, other.counter),
        cell=worse(kind, one.cell, other.cell),
    )
