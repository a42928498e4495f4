"""A study that survives: what is still to play is played, what was played is kept, whatever happens in between.

Trials are numbered and their randomness follows from their number, so that a run that died goes on with the numbers
that the store lacks, and the sum is that of a run that nobody disturbed.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping
from contextlib import closing
from dataclasses import dataclass, replace
from itertools import groupby
from pathlib import Path
from typing import Any

from ..contracts.errors import UsageError
from .forecast import Forecast
from .lacking import WHOLE, Share, lacking
from .ledger import Ledger
from .plan import Plan, Row, contents, plan_of, read_plan
from .records import Record, records
from .scout import scouted, sizes
from .store import Batch, Store
from .study import Study
from .study_file import StudyFile
from .tally import Tally
from .trials import Engine, News, Result, unwatched


@dataclass(frozen=True)
class Standing:
    """How far one row is.

    Attributes:
        done: how many of the trials that it shall have the store holds.
        tally: of those, and of later ones where the store holds one count of both.
        machines: what it ran on.
    """

    study: Study
    row: Row
    done: int
    tally: Tally
    machines: tuple[dict[str, str | int], ...]

    @property
    def missing(self) -> int:
        """Trials still to run; none for a row that its receiver refuses."""
        return 0 if self.row.task.refusal is not None else self.row.trials - self.done

    def as_json(self) -> dict[str, Any]:
        """Plain data, ready for JSON."""
        task = self.row.task
        return {
            "program": self.study.program_name,
            "seed": self.study.seed,
            "codec": task.codec_name,
            "receiver": task.receiver_name,
            "channel": task.channel_name,
            "refused": task.refusal,
            "trials": self.row.trials,
            "done": self.done,
            "held": self.tally.trials,
            "right": self.tally.right,
            "detected": self.tally.detected,
            "silent": self.tally.silent,
        }


def standings(store: Store) -> tuple[Standing, ...]:
    """Every row of the plan in a store, and how far it is."""
    plan, held = stored_plan(store), _by_task(store.batches())
    told: dict[str, dict[str, str | int]] = {}

    def ran_on(batches: Iterable[Batch]) -> tuple[dict[str, str | int], ...]:
        names = dict.fromkeys(batch.machine for batch in batches)
        for name in names:
            if name not in told:
                told[name] = json.loads(store.content(name))
        return tuple(told[name] for name in names)

    found = []
    for study, row in plan.rows():
        ours = _shown(held, row)
        done = sum(min(batch.after, row.trials) - batch.first for batch in ours)
        found.append(Standing(study, row, done, _sum(ours), ran_on(ours)))
    return tuple(found)


def stored_plan(store: Store) -> Plan:
    """The plan in force in a store; an empty one before its first run."""
    content = store.plan()
    return Plan(()) if content is None else read_plan(content, store.content)


def answer(path: Path) -> tuple[Record, ...]:
    """The rows of a store, as a comparison gives them.

    A row whose trials have not all run, or that shows more than were asked for, says so in ``stop``.

    Raises:
        UsageError, TapewrightError: as ``Store``.
    """
    with Store(path) as store:
        store.check_for_a_plan()
        found = standings(store)
    rows: list[Record] = []
    for study in dict.fromkeys(standing.study for standing in found):
        ours = [standing for standing in found if standing.study is study]
        made = records(study, [Result(standing.row.task, standing.tally) for standing in ours])
        rows += [_as_stored(record, standing) for record, standing in zip(made, ours, strict=True)]
    return tuple(rows)


def _as_stored(record: Record, standing: Standing) -> Record:
    ran_on = standing.machines[0] if len(standing.machines) == 1 else {"system": "several"}
    record = replace(record, versions=standing.row.versions, machine=ran_on if standing.machines else {})
    asked, held, told = standing.row.trials, standing.tally.trials, []
    if standing.missing:
        told.append(f"{standing.done} of {asked} trials ran so far")
    if held > standing.done:
        told.append(f"{held} trials held, {asked} asked")
    return replace(record, stop="; ".join(told or filter(None, (record.stop, standing.row.why))))


def run(
    store: Store,
    asked: StudyFile,
    engine: Engine,
    watch: Callable[[News], None] = unwatched,
    share: Share = WHOLE,
    until: float | None = None,
) -> None:
    """Play what the store lacks of a study, and keep it.

    An interruption passes through; what was played until then is kept.

    Args:
        share: which of the trials are this run's.
        until: a load success; rows that few tapes do not tell from it get more (see ``scout``).

    Raises:
        UsageError: as ``check_choice``.
        TapewrightError: a plug-in raised, or the disk does not take more.
    """
    check_choice(share, until)
    plan = plan_of(asked)
    store.set_plan(plan.to_json(), contents(plan))
    if until is not None:
        plan = scouted(
            plan,
            until,
            lambda plan, wanted: _play(store, plan, engine, watch, wanted),
            lambda: _by_task(store.batches()),
        )
        store.set_plan(plan.to_json(), ())
    _play(store, plan, engine, watch, lambda row: share.trials(row.trials))


def check_choice(share: Share, until: float | None) -> None:
    """Refuse what cannot be run.

    Raises:
        UsageError: ``until`` is no share between 0 and 1, or comes with a part of the trials: who plays a part does not
            know what the others find.
    """
    if until is None:
        return
    if not 0 < until < 1:
        raise UsageError(f"Argument 'until' must lie between 0 and 1, not {until}.")
    if share != WHOLE:
        raise UsageError("Arguments 'share' and 'until' exclude each other.")


def _play(
    store: Store, plan: Plan, engine: Engine, watch: Callable[[News], None], wanted: Callable[[Row], range]
) -> None:
    held = _by_task(store.batches())
    parts = [(part, lacking(part, held, wanted)) for part in plan.parts]
    of, done = sum(sum(one.counts().values()) for _, one in parts), 0
    units = {(place, kind): count for place, (_, one) in enumerate(parts) for kind, count in one.counts().items()}
    tape_s = {(place, kind): parts[place][1].tape_s[kind] for place, kind in units}
    forecast = Forecast(units, tape_s, engine.workers)
    watch(News(0, of, (), None))
    for place, (part, one) in enumerate(parts):
        before = {row.task: _sum(_shown(held, row)) for row in part.rows}
        asked = part.study.trials
        ledger = Ledger(store, one.keys, before, frozenset((asked, *sizes(asked))))
        with closing(ledger), closing(engine.play(part.study, one.in_order())) as results:
            for played in results:
                ledger.note(played)
                forecast.saw((place, played.tape.kind), played.busy_s)
                done += 1
                watch(News(done, of, ledger.found(played.tape), forecast.remaining_s()))


def _by_task(batches: Iterable[Batch]) -> dict[str, tuple[Batch, ...]]:
    return {key: tuple(ours) for key, ours in groupby(batches, key=lambda batch: batch.task)}


def _shown(held: Mapping[str, tuple[Batch, ...]], row: Row) -> tuple[Batch, ...]:
    """What a row shows of the batches that are held, by task; the last may go on over the trials that it shall have."""
    return tuple(batch for batch in held.get(row.key, ()) if batch.first < row.trials)


def _sum(batches: Iterable[Batch]) -> Tally:
    return sum((batch.tally for batch in batches), Tally())
