"""What a store lacks of a plan: the tapes still to play, in ranges of trials, so that a million cost no memory."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from ..contracts.errors import UsageError, in_one_line
from .plan import Part, Row
from .store import Batch
from .study import Task
from .trials import FIRST_LOOK, Tape

MOST_SHARES = 10_000


@dataclass(frozen=True)
class Share:
    """One of several equal parts of all trials, for a run on one of several machines.

    Attributes:
        number: from 1.
        of: how many there are.
    """

    number: int
    of: int

    def trials(self, trials: int) -> range:
        """Those of ``trials`` that are this share's."""
        return range(trials * (self.number - 1) // self.of, trials * self.number // self.of)


WHOLE = Share(1, 1)


def parse_share(text: str) -> Share:
    """A share as a person writes it.

    >>> parse_share("2/4").trials(10)
    range(2, 5)

    Raises:
        UsageError: anything else.
    """
    found = re.fullmatch(r"([0-9]{1,5})/([0-9]{1,5})", text.strip())
    number, of = (int(found[1]), int(found[2])) if found else (0, 0)
    if not 1 <= number <= of <= MOST_SHARES:
        raise UsageError(f"A share must be such as 2/4, the second of four, not '{in_one_line(text, 40)}'.")
    return Share(number, of)


@dataclass(frozen=True)
class Lacking:
    """What is still to play of one program.

    Attributes:
        keys: hash of identity by task.
        stretches: trials in a row that the same tasks lack, by kind of tape.
        tape_s: length of a tape of each kind.
    """

    keys: Mapping[Task, str]
    stretches: Mapping[tuple[str, str], Sequence[tuple[range, tuple[Task, ...]]]]
    tape_s: Mapping[tuple[str, str], float]

    def counts(self) -> dict[tuple[str, str], int]:
        """Tapes to play by kind."""
        return {kind: sum(len(trials) for trials, _ in ours) for kind, ours in self.stretches.items()}

    def in_order(self) -> Iterator[Tape]:
        """Every tape: two of each kind first, so that each kind's cost is known early; then the rest, kind by kind."""
        for first in (True, False):
            for kind, ours in self.stretches.items():
                place = 0
                for trials, tasks in ours:
                    early = min(len(trials), max(0, FIRST_LOOK - place))
                    for trial in trials[:early] if first else trials[early:]:
                        yield Tape(kind, tasks, trial)
                    place += len(trials)


def lacking(part: Part, held: Mapping[str, Iterable[Batch]], wanted: Callable[[Row], range]) -> Lacking:
    """What of a part the batches that are held, by task, leave to play of the trials that each row wants."""
    keys: dict[str, Task] = {}
    kinds: dict[tuple[str, str], list[tuple[Task, list[range]]]] = {}
    codecs = list(dict.fromkeys(row.task.codec.spec for row in part.rows))
    for row in sorted(part.rows, key=lambda row: codecs.index(row.task.codec.spec)):
        task = row.task
        if task.refusal is None and row.key not in keys:
            keys[row.key] = task
            gaps = _gaps(held.get(row.key, ()), wanted(row))
            kinds.setdefault((task.codec.spec, task.channel.spec), []).append((task, gaps))
    stretches = {kind: _stretches(ours) for kind, ours in kinds.items()}
    return Lacking(
        {task: key for key, task in keys.items()},
        {kind: ours for kind, ours in stretches.items() if ours},
        {kind: ours[0][0].codec.duration_s(len(part.study.program)) for kind, ours in kinds.items()},
    )


def _gaps(held: Iterable[Batch], wanted: range) -> list[range]:
    """The trials of ``wanted`` that no batch has; batches in ascending order."""
    gaps, at = [], wanted.start
    for batch in held:
        if batch.first > at:
            gaps.append(range(at, min(batch.first, wanted.stop)))
        at = max(at, batch.after)
    gaps.append(range(at, wanted.stop))
    return [gap for gap in gaps if gap]


def _stretches(ours: list[tuple[Task, list[range]]]) -> list[tuple[range, tuple[Task, ...]]]:
    """Cut trials where the tasks that lack them change."""
    cuts = sorted({edge for _, gaps in ours for gap in gaps for edge in (gap.start, gap.stop)})
    found = []
    for start, stop in pairwise(cuts):
        tasks = tuple(task for task, gaps in ours if any(start in gap for gap in gaps))
        if tasks:
            found.append((range(start, stop), tasks))
    return found
