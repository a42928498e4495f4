"""Scouts: tapes that find which rows need more of them, and are never shown.

Where the interval of a load success straddles the figure that is asked for, more tapes would tell on which side it
lies. Whoever looks at the same tapes until they please gets a figure that pleases. So the scouts are other tapes,
numbered from ``FIRST``: a row's scouts are doubled until its interval is clear of the figure or there are as many as
allowed. How many tapes the row is then shown with is fixed, before the first of them plays, at as many as its scouts
were; they start at trial 0 like everybody's.

Scouts of a study of another size are heard as well, but for those that stand in the store with later ones as one count.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
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


def sizes(trials: int) -> Iterator[int]:
    """How many scouts a row has, one number after the other, where the study asks for so many trials.

    >>> list(sizes(20))
    [2, 4, 8, 16, 32, 64, 128, 160]
    """
    size = max(1, trials // _START_SHARE)
    while size < MOST_TIMES * trials:
        yield size
        size *= 2
    yield MOST_TIMES * trials


def scouted(plan: Plan, until: float, play: Play, held: Callable[[], Mapping[str, Iterable[Batch]]]) -> Plan:
    """The plan with as many trials for each row as its scouts took to tell it from a success of ``until``.

    Args:
        play: sends scouts.
        held: what the store holds, by task.
    """
    found: dict[str, int] = {}
    open_rows = {row.key: row for _, row in plan.rows() if row.task.refusal is None}
    sent = {key: next(sizes(row.trials)) for key, row in open_rows.items()}
    while open_rows:

        def wanted(row: Row) -> range:
            return range(FIRST, FIRST + sent[row.key]) if row.key in open_rows else range(0)

        play(plan, wanted)
        heard = held()
        for key, row in list(open_rows.items()):
            more = next((size for size in sizes(row.trials) if size > sent[key]), None)
            if more is None or _is_told(_heard(heard.get(key, ()), sent[key]), until):
                found[key] = max(row.trials, sent[key])
                del open_rows[key]
            else:
                sent[key] = more
    why = f"their number fixed on other tapes, to tell the row from {100 * until:g} %"
    return Plan(
        tuple(
            Part(part.study, tuple(replace(row, trials=found.get(row.key, row.trials), why=why) for row in part.rows))
            for part in plan.parts
        )
    )


def _heard(batches: Iterable[Batch], scouts: int) -> Tally:
    ours = (batch.tally for batch in batches if batch.first >= FIRST and batch.after <= FIRST + scouts)
    return sum(ours, Tally())


def _is_told(heard: Tally, until: float) -> bool:
    if not heard.trials:
        return False
    success = load_success(heard)
    return not success.low <= until <= success.high
