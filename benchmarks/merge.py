"""Merge: one store from several, all or nothing."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import ExitStack
from pathlib import Path

from ..contracts.errors import UsageError, in_one_line
from .store import Store, create
from .stored_study import stored_plan


def merge(stores: Sequence[Path], into: Path) -> int:
    """Add everything that ``stores`` hold to ``into``, which is made if it is not there; how many tapes were added.

    Each store goes in whole or not at all; the first that does not ends the merge.

    Raises:
        UsageError: a store that is the output itself, or is named twice.
        TapewrightError: trials that both hold, or as ``Store``.
    """
    for place, path in enumerate(stores):
        if any(path.exists() and other.exists() and path.samefile(other) for other in stores[:place]):
            raise UsageError(f"store '{in_one_line(path)}' is named twice; name each store once.")
        if path.exists() and into.exists() and path.samefile(into):
            raise UsageError(f"store '{in_one_line(path)}' is the output itself; name each store once.")
    added = 0
    with ExitStack() as opened:
        parts = [opened.enter_context(Store(path)) for path in stores]
        if not into.exists():
            create(into)
        whole = opened.enter_context(Store(into, writing=True))
        for part in parts:
            plan = stored_plan(whole).with_rows_of(stored_plan(part))
            added += sum(batch.tally.trials for batch in part.batches())
            whole.take_in(part, plan.to_json())
    return added
