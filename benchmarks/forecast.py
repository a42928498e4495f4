"""How long the rest will take, from how long each kind of tape took so far."""

from __future__ import annotations

from collections import Counter, deque
from collections.abc import Hashable, Mapping
from typing import Generic, TypeVar

Kind = TypeVar("Kind", bound=Hashable)

_REMEMBERED = 5


class Forecast(Generic[Kind]):
    """Remembers what each kind of unit costs and how many are still to come.

    Args:
        units: how many of each kind will run.
        relative_cost: a first guess, by kind, in any unit; the first measurements scale it.
        workers: how many run at once.
    """

    def __init__(self, units: Mapping[Kind, int], relative_cost: Mapping[Kind, float], workers: int) -> None:
        self._to_come = Counter(units)
        self._relative_cost = relative_cost
        self._workers = workers
        self._seen: dict[Kind, deque[float]] = {}
        self._ended: Counter[Kind] = Counter()

    def saw(self, kind: Kind, seconds: float) -> None:
        """One unit of that kind has ended, having kept a worker busy for ``seconds``."""
        self._to_come[kind] -= 1
        self._ended[kind] += 1
        self._seen.setdefault(kind, deque(maxlen=_REMEMBERED)).append(seconds)

    def spared(self, kind: Kind, units: int) -> None:
        """So many of that kind will not run after all."""
        self._to_come[kind] -= units

    def remaining_s(self) -> float | None:
        """Seconds of wall clock to go; None before anything was seen."""
        if not self._seen:
            return None
        cost = {kind: self._cost(kind) for kind in self._seen}
        rates = sorted(cost[kind] / self._relative_cost[kind] for kind in cost)
        usual_rate = rates[(len(rates) - 1) // 2]
        busy_s = sum(
            units * cost.get(kind, usual_rate * self._relative_cost[kind]) for kind, units in self._to_come.items()
        )
        return busy_s / max(1, min(self._workers, self._to_come.total()))

    def _cost(self, kind: Kind) -> float:
        """The lower median; of few, the least: each worker's first unit may carry what is loaded or compiled once."""
        seconds = sorted(self._seen[kind])
        return seconds[0 if self._ended[kind] <= 2 * self._workers else (len(seconds) - 1) // 2]
