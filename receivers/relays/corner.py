"""Corner: a machine and a tape at their limits, all against one path.

A relay stands in one of five ways: ``slow`` (in late, out late), ``fast`` (in early, out early), ``short`` (in late,
out early), ``long`` (in early, out late) and ``lasting`` (long, and its contact hardly bounces). Temperature, supply
and tape speed stand at one limit each.
"""

from __future__ import annotations

from dataclasses import dataclass

from .machine import Place

# A higher pick-up and resistance come in later; a higher drop-out lets go earlier; the bounce of the make contact ends
# late, and that of the break contact too, so that the longest is the worst whichever counts.
PLACES: dict[str, dict[str, float]] = {
    "slow": {"resistance": 1, "pick_up": 1, "operate": 1, "drop_out": -1, "release": 1, "bounce": 1},
    "fast": {"resistance": -1, "pick_up": -1, "operate": -1, "drop_out": 1, "release": -1, "bounce": -1},
    "short": {"resistance": 1, "pick_up": 1, "operate": 1, "drop_out": 1, "release": -1, "bounce": 1},
    "long": {"resistance": -1, "pick_up": -1, "operate": -1, "drop_out": -1, "release": 1, "bounce": 1},
    "lasting": {"resistance": -1, "pick_up": -1, "operate": -1, "drop_out": -1, "release": 1, "bounce": -1},
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
        kinds: role to kind; ``step``, ``arm`` and ``bit`` stand for all relays of that name.
        reservoirs: ``clock`` and ``data`` to -1 or 1: the capacitor at its least or most.
        skew: -1, 0 or 1: the data track early, in time or late by the set's limit.
    """

    surroundings: Surroundings
    kinds: tuple[tuple[str, str], ...]
    reservoirs: tuple[tuple[str, int], ...] = ()
    skew: int = 0

    def place(self) -> Place:
        """Where each figure stands; what no role speaks of is typical."""
        kinds, reservoirs = dict(self.kinds), dict(self.reservoirs)

        def place(role: str, quantity: str) -> float:
            if quantity == "temperature":
                return self.surroundings.temperature
            if quantity == "voltage":
                return self.surroundings.supply
            if quantity == "sag":
                return -self.surroundings.supply
            if quantity == "reservoir":
                return reservoirs.get(role, 0)
            kind = kinds.get(role) or kinds.get(role.split(" ")[0], "")
            if quantity == "delay":
                return {"slow": 1.0, "fast": -1.0}.get(kind, 0.0)
            return PLACES[kind][quantity] if kind else 0.0

        return place

    def loud(self, role: str) -> bool:
        """Whether that track plays at the set's loudest: so for a contact that stays long, else at the quietest."""
        return dict(self.kinds).get(role) in ("long", "lasting", "fast")

    @property
    def bounces(self) -> str:
        """How the input relays' closings bounce there."""
        return "shortest" if dict(self.kinds).get("clock") == "lasting" else "longest"


def everywhere(kind: str, surroundings: Surroundings, reservoir: int = 0) -> Place:
    """Every relay of that kind at once: for reading off figures."""

    def place(role: str, quantity: str) -> float:
        if quantity == "temperature":
            return surroundings.temperature
        if quantity == "voltage":
            return surroundings.supply
        if quantity == "sag":
            return -surroundings.supply
        if quantity == "reservoir":
            return reservoir
        if quantity == "delay":
            return 1.0 if kind in ("slow", "short") else -1.0
        return PLACES[kind][quantity]

    return place
