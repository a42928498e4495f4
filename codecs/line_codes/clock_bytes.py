"""Steps put together to bytes: by reset marks where the tape has them, else by counting."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

Row = list["Step | None"]
"""The eight data steps of a byte; None where a step is not known."""


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


def bytes_by_count(steps: list[Step], steps_a_byte: int) -> list[Row]:
    """A byte every ``steps_a_byte`` steps; a last one whose data steps are not all there is left out."""
    groups = (steps[first : first + steps_a_byte] for first in range(0, len(steps), steps_a_byte))
    return [list(group[:8]) for group in groups if len(group) >= 8]


def bytes_by_mark(
    steps: list[Step], steps_a_byte: int, bytes_between: Callable[[float, float], int]
) -> tuple[list[Row], list[float]]:
    """Bytes that begin at reset marks, or where the cadence says that a mark was not heard.

    A byte whose steps do not come out right is given up whole: its row holds None alone.

    Args:
        steps: the train.
        steps_a_byte: data and extra steps.
        bytes_between: how many bytes last from one time to another, by cadence; at least 1.

    Returns:
        rows, and where bytes were given up.
    """
    rows: list[Row] = []
    given_up: list[float] = []
    for number, group in enumerate(groups := _groups(steps, steps_a_byte)):
        last = number == len(groups) - 1
        if any(step.broken for step in group):
            beyond = groups[number + 1][0].time if not last else group[-1].time
            rows += [[None] * 8] * bytes_between(group[0].time, beyond)
            given_up.append(group[0].time)
        elif len(group) >= steps_a_byte or (last and len(group) >= 8):
            rows.append(list(group[:8]))
        elif number == 0 and not group[0].mark:
            # The tape was joined in the middle of a byte: its end is known.
            rows.append(([None] * (steps_a_byte - len(group)) + list(group))[:8])
        elif last:
            break
        else:
            given_up.append(group[0].time)
            if group[0].mark or 2 * len(group) > steps_a_byte or not rows:
                rows.append([None] * 8)
            else:
                rows[-1] = [None] * 8
    return rows, given_up


def _groups(steps: list[Step], steps_a_byte: int) -> list[list[Step]]:
    """``steps`` cut before every mark, and after a whole byte where no mark was heard."""
    groups: list[list[Step]] = []
    broken = False
    # Without a mark at its start the first group ends where the first mark says; whole bytes before it count back.
    first_mark = next((place for place, step in enumerate(steps) if step.mark), 0)
    head = first_mark % steps_a_byte if not any(step.broken for step in steps[:first_mark]) else 0
    for step in steps:
        full = bool(groups) and len(groups[-1]) >= (head if len(groups) == 1 and head else steps_a_byte)
        if not groups or step.mark or (full and not broken and not step.broken):
            groups.append([])
            broken = False
        broken = broken or step.broken
        groups[-1].append(step)
    return groups
