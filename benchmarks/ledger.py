"""The ledger: collects what was played and writes it to the store in whole batches, a few times a second."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import groupby
from time import monotonic

from .carried_files import digest
from .identity import canonical_json
from .records import machine
from .store import Batch, Store
from .study import Task
from .tally import Tally
from .trials import Played, Result, Tape

WRITTEN_EVERY_S = 0.25
"""What a kill may cost at most, beside the tapes that play at that moment: they are played again."""


class Ledger:
    """Between an engine and a store.

    Args:
        keys: the hash of each task's identity.
        held: what the store holds of each task already.
    """

    def __init__(self, store: Store, keys: Mapping[Task, str], held: Mapping[Task, Tally]) -> None:
        self._store = store
        self._keys = keys
        self._sums = {task: held.get(task, Tally()) for task in keys}
        self._here = canonical_json(machine())
        self._machines = {digest(self._here.encode()): self._here.encode()}
        self._pending: dict[tuple[str, str], list[tuple[int, Tally]]] = {}
        self._written_at = monotonic()

    def note(self, played: Played) -> None:
        """A tape has been played."""
        told = (played.machine or self._here).encode()
        name = digest(told)
        self._machines[name] = told
        for task, tally in zip(played.tape.tasks, played.tallies, strict=True):
            self._sums[task] += tally
            self._pending.setdefault((self._keys[task], name), []).append((played.tape.trial, tally))
        if monotonic() - self._written_at >= WRITTEN_EVERY_S:
            self._write()

    def found(self, tape: Tape) -> tuple[Result, ...]:
        """The sums so far of the tasks of a tape."""
        return tuple(Result(task, self._sums[task]) for task in tape.tasks)

    def close(self) -> None:
        """Write what is not written yet."""
        self._write()

    def _write(self) -> None:
        batches = [
            batch
            for (task, name), counts in self._pending.items()
            for batch in _batches(task, sorted(counts, key=_trial), name)
        ]
        if batches:
            self._store.add(batches, self._machines.values())
        self._pending.clear()
        self._written_at = monotonic()


def _trial(count: tuple[int, Tally]) -> int:
    return count[0]


def _batches(task: str, counts: list[tuple[int, Tally]], machine: str) -> list[Batch]:
    """One batch for every run of trials without a gap, of counts in ascending order."""
    runs = groupby(enumerate(counts), key=lambda numbered: numbered[1][0] - numbered[0])
    return [
        Batch(task, ours[0][1][0], sum((tally for _, (_, tally) in ours), Tally()), machine)
        for ours in (list(run) for _, run in runs)
    ]
