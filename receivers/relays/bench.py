"""Bench: the machines of one set and table at their limits, each built once.

No relay but the slow one of the reset mark knows how long a step is, so that one bench serves every step that is tried.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable
from dataclasses import dataclass, field, replace

from ...contracts.keying import Keying
from .corner import Surroundings, everywhere, worst_machine
from .machine import Machine, build, reset_delay_s
from .relay_set import RelaySet
from .table import Table


@dataclass(frozen=True)
class Bench:
    """Machines of ``relays`` and ``table`` for the codes that are ``keying`` at any step."""

    relays: RelaySet
    table: Table
    keying: Keying
    _built: dict[Hashable, Machine] = field(default_factory=dict, repr=False, compare=False)

    def even(self, kind: str, around: Surroundings, resistance: int, reservoir: int, tuning: int = 0) -> Machine:
        """The machine whose relays all stand one way, with windings, reservoirs and filters at one limit each."""

        def made() -> Machine:
            return build(self.relays, self.table, self.keying, everywhere(kind, around, resistance, reservoir, tuning))

        return self._once((kind, around, resistance, reservoir, tuning), made)

    def worst(self, kind: str, around: Surroundings, keying: Keying) -> Machine:
        """The switched relays of one kind, each with the windings that are worse for it, for the step of ``keying``."""

        def made() -> Machine:
            return worst_machine(kind, self.even(kind, around, -1, 0), self.even(kind, around, 1, 0))

        delay_s = reset_delay_s(self.relays, keying, everywhere(kind, around, 0))
        return replace(self._once((kind, around), made), reset_s=delay_s)

    def _once(self, key: Hashable, made: Callable[[], Machine]) -> Machine:
        if key not in self._built:
            self._built[key] = made()
        return self._built[key]
