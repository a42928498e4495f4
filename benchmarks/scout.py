"""Scouts: tapes that find which rows need more of them, and are never shown.

Where the interval of a load success straddles the figure that is asked for, more tapes would tell on which side it
lies. Whoever looks at the same tapes until they please gets a figure that pleases. So the scouts are other tapes,
numbered from ``FIRST``: a row's scouts are doubled until its interval is clear of the figure or there are as many as
allowed. How many tapes the row is then shown with is fixed, before the first of them plays, at as many as its scouts
were; they start at trial 0 like everybody's.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace

from .plan import Part, Plan, Row
from .statistics import load_success
from .store import Batch
from .tally import Tally

FIRST = 1 << 31
"""Trial number of the first scout, beyond any number of trials that a study may ask for."""

MOST_TIMES = 8
"""A row is shown with at most so many times the trials that the study asks for."""

_START_SHARE = 8
"""Scouts start with this part of the trials."""

Play = Callable[[Plan, Callable[[Row], range]], None]
"""Plays of every row of a plan what the store lacks of a range of trials."""


def scouted(plan: Plan, until: float, play: Play, held: Callable[[], Mapping[str, Iterable[Batch]]]) -> Plan:
    """The plan with as many trials for each row as its scouts took to tell it from a success of ``until``.

    Args:
        play: sends scouts.
        held: what the store holds, by task.
    """
    found: dict[str, int] = {}
    open_rows = {row.key: row for _, row in plan.rows() if row.task.refusal is None}
    sizes = {key: max(1, row.trials // _START_SHARE) for key, row in open_rows.items()}
    while open_rows:

        def wanted(row: Row) -> range:
            return range(FIRST, FIRST + sizes[row.key]) if row.key in open_rows else range(0)

        play(plan, wanted)
        heard = held()
        for key, row in list(open_rows.items()):
            told = load_success(_heard(heard.get(key, ()), sizes[key]))
            if not told.low <= until <= told.high or sizes[key] >= MOST_TIMES * row.trials:
                found[key] = max(row.trials, sizes[key])
                del open_rows[key]
            else:
                sizes[key] = min(2 * sizes[key], MOST_TIMES * row.trials)
    why = f"their number fixed on other tapes, to tell the row from {100 * until:g} %"
    return Plan(
        tuple(
            Part(part.study, tuple(replace(row, trials=found.get(row.key, row.trials), why=why) for row in part.rows))
            for part in plan.parts
        )
    )


def shown(batches: Iterable[Batch]) -> tuple[Batch, ...]:
    """Those that are no scouts."""
    return tuple(batch for batch in batches if batch.first < FIRST)


def _heard(batches: Iterable[Batch], scouts: int) -> Tally:
    return sum((batch.tally for batch in batches if FIRST <= batch.first < FIRST + scouts), Tally())
