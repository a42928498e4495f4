"""The ledger: collects what was played and writes it to the store in whole batches, a few times a second.

Counts of one batch cannot be told apart again, and a later plan may ask for fewer trials. So no batch goes on over a
number that a plan is likely to ask for: one of two digits with zeros behind them, or one of ``ends``.
"""

from __future__ import annotations

from collections.abc import Container, Iterator, Mapping
from time import monotonic

from .carried_files import digest
from .identity import canonical_json
from .records import machine
from .scout import FIRST
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
        ends: more numbers of trials that no batch goes on over.
    """

    def __init__(
        self, store: Store, keys: Mapping[Task, str], held: Mapping[Task, Tally], ends: Container[int] = ()
    ) -> None:
        self._store = store
        self._keys = keys
        self._ends = ends
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
        # Let go of before they are written: an interruption may come when they are there already.
        pending, self._pending = self._pending, {}
        batches = [
            batch
            for (task, name), counts in pending.items()
            for batch in self._batches(task, sorted(counts, key=_trial), name)
        ]
        if batches:
            self._store.add(batches, self._machines.values())
        self._written_at = monotonic()

    def _batches(self, task: str, counts: list[tuple[int, Tally]], machine: str) -> Iterator[Batch]:
        """One batch for every run of trials without a gap or an end between them, of counts in ascending order."""
        runs: list[list[tuple[int, Tally]]] = []
        for trial, tally in counts:
            if not runs or runs[-1][-1][0] + 1 != trial or self._is_end(trial):
                runs.append([])
            runs[-1].append((trial, tally))
        for run in runs:
            yield Batch(task, run[0][0], sum((tally for _, tally in run), Tally()), machine)

    def _is_end(self, trial: int) -> bool:
        """Whether a plan is likely to ask for as many trials, or scouts, as there are before this one."""
        number = trial % FIRST
        return number in self._ends or _is_round(number)


def _is_round(number: int) -> bool:
    return not int(str(number)[2:] or "0")


def _trial(count: tuple[int, Tally]) -> int:
    return count[0]
