"""Steps put together to groups: by reset marks where the tape has them, else by counting."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

Row = list["Step | None"]
"""The data steps of a group; None where a step is not known."""


@dataclass(frozen=True, slots=True)
class Step:
    """One step of the train.

    Attributes:
        time: onset of its clock burst, in hops.
        heard: whether that burst was heard itself, not put in from the cadence.
        mark: whether it was as long as a reset mark.
        broken: whether the cadence was lost on the way to it.
    """

    time: float
    heard: bool
    mark: bool = False
    broken: bool = False


def groups_by_count(steps: list[Step], steps_a_group: int, data_steps: int) -> list[Row]:
    """A group every ``steps_a_group`` steps; a last one whose data steps are not all there is left out."""
    groups = (steps[first : first + steps_a_group] for first in range(0, len(steps), steps_a_group))
    return [list(group[:data_steps]) for group in groups if len(group) >= data_steps]


def groups_by_mark(
    steps: list[Step], steps_a_group: int, data_steps: int, groups_between: Callable[[float, float], int]
) -> tuple[list[Row], list[float]]:
    """Groups that begin at reset marks, or where the cadence says that a mark was not heard.

    A group whose steps do not come out right is given up whole: its row holds None alone. Where several in a row do
    not, the time from the last mark that fits to the next one tells how many groups they were.

    Args:
        steps: the train.
        steps_a_group: data and extra steps.
        data_steps: those that carry bits, the first of a group.
        groups_between: how many groups last from one time to another, by cadence.

    Returns:
        rows, and where groups were given up.
    """
    rows: list[Row] = []
    given_up: list[float] = []
    groups = _cut(steps, steps_a_group)
    doubtful_from: float | None = None
    for number, group in enumerate(groups):
        last = number == len(groups) - 1
        whole = len(group) >= (data_steps if last else steps_a_group) and not any(step.broken for step in group)
        joined = number == 0 and not group[0].mark and not last
        if doubtful_from is not None and (whole or last):
            count = groups_between(doubtful_from, group[0].time)
            rows += [[None] * data_steps for _ in range(count)]
            if count == 0 and rows:
                rows[-1] = [None] * data_steps
            given_up.append(doubtful_from)
            doubtful_from = None
        if whole:
            rows.append(list(group[:data_steps]))
        elif joined:
            # The tape was joined in the middle of a group: its end is known.
            rows.append(([None] * (steps_a_group - len(group)) + list(group))[:data_steps])
        elif not last:
            doubtful_from = group[0].time if doubtful_from is None else doubtful_from
    return rows, given_up


def _cut(steps: list[Step], steps_a_group: int) -> list[list[Step]]:
    """``steps`` cut before every mark, and after a whole group where no mark was heard."""
    groups: list[list[Step]] = []
    broken = False
    # Without a mark at its start the first group ends where the first mark says; whole groups before it count back.
    first_mark = next((place for place, step in enumerate(steps) if step.mark), 0)
    head = first_mark % steps_a_group if not any(step.broken for step in steps[:first_mark]) else 0
    for step in steps:
        full = bool(groups) and len(groups[-1]) >= (head if len(groups) == 1 and head else steps_a_group)
        if not groups or step.mark or (full and not broken and not step.broken):
            groups.append([])
            broken = False
        broken = broken or step.broken
        groups[-1].append(step)
    return groups
