"""Merge: one store from several, all or nothing."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import ExitStack
from itertools import pairwise
from pathlib import Path

from ..contracts.errors import TapewrightError, UsageError, in_one_line
from .new_store import create
from .store import Batch, Store
from .stored_study import stored_plan


def merge(stores: Sequence[Path], into: Path) -> int:
    """Add everything that ``stores`` hold to ``into``, which is made if it is not there; how many tapes were added.

    Raises:
        UsageError: a store that is the output itself, or is named twice.
        TapewrightError: trials that two of them hold, a store without a study, or as ``Store``; then nothing is added.
    """
    for place, path in enumerate(stores):
        if any(path.exists() and other.exists() and path.samefile(other) for other in stores[:place]):
            raise UsageError(f"store '{in_one_line(path)}' is named twice; name each store once.")
        if path.exists() and into.exists() and path.samefile(into):
            raise UsageError(f"store '{in_one_line(path)}' is the output itself; name each store once.")
    with ExitStack() as opened:
        parts = [opened.enter_context(Store(path)) for path in stores]
        batches = [(part, batch) for part in parts for batch in part.batches()]
        for part in parts:
            part.check_for_a_plan()
        plans = [stored_plan(part) for part in parts]
        _check_apart(batches)
        if not into.exists():
            create(into)
        whole = opened.enter_context(Store(into, writing=True))
        _check_apart([*batches, *((whole, batch) for batch in whole.batches())])
        plan = stored_plan(whole)
        for theirs in plans:
            plan = plan.with_rows_of(theirs)
        whole.take_in(parts, plan.to_json())
    return sum(batch.tally.trials for _, batch in batches)


def _check_apart(batches: Sequence[tuple[Store, Batch]]) -> None:
    in_order = sorted(batches, key=lambda held: (held[1].task, held[1].first))
    overlaps = [
        (one, other, after.task, after.first, min(before.after, after.after))
        for (one, before), (other, after) in pairwise(in_order)
        if before.task == after.task and after.first < before.after
    ]
    if not overlaps:
        return
    one, other, task, first, beyond = overlaps[0]
    for *these, same, begin, end in overlaps[1:]:
        if same != task or begin > beyond or set(these) != {one, other}:
            break
        beyond = max(beyond, end)
    names = f"'{in_one_line(one.path, 120)}' and '{in_one_line(other.path, 120)}'"
    raise TapewrightError(
        f"study stores {names} both hold the trials {first} to {beyond - 1} of task {task[:12]}; leave one of them out."
    )
