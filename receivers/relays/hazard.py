"""Hazard: what is wrong with a table whatever the step."""

from __future__ import annotations

from dataclasses import dataclass

from .relay_set import RelaySet
from .table import Table

SETTLE, DRIVERS, SNEAK, POLES = "no settle step", "two drivers", "sneak path", "too few poles"


@dataclass(frozen=True, slots=True)
class Hazard:
    """One hazard.

    Attributes:
        kind: one of the four above.
        step: where.
        lines: which lines.
        text: one line for a person.
    """

    kind: str
    step: int
    lines: tuple[str, ...]
    text: str


def hazards(table: Table, relays: RelaySet) -> tuple[Hazard, ...]:
    """All hazards of a table, built from a set's relays."""
    return (*_unsettled(table), *_contended(table), *_sneaking(table), *_crowded(table, relays))


def _unsettled(table: Table) -> list[Hazard]:
    """A dependency needs a settle step between drive and use (common practice)."""
    found = []
    for line in table.lines:
        for name in (*line.uses, *line.through):
            driven = table.live_steps(table.line(name))
            for step in table.live_steps(line):
                if step not in driven:
                    text = f"step {step}: '{line.name}' needs '{name}', which no step drives then"
                    found.append(Hazard(SETTLE, step, (name, line.name), text))
                elif name in line.uses and step - 1 not in driven:
                    text = f"step {step}: '{line.name}' uses '{name}' in the step that first drives it"
                    found.append(Hazard(SETTLE, step, (name, line.name), text))
                elif name in line.uses and step - 2 not in driven:
                    text = f"step {step}: no settle step between driving '{name}' and its use by '{line.name}'"
                    found.append(Hazard(SETTLE, step, (name, line.name), text))
    return found


def _contended(table: Table) -> list[Hazard]:
    found = []
    driving = table.acting("drive")
    for number, one in enumerate(driving):
        for other in driving[number + 1 :]:
            if one.bus != other.bus:
                continue
            # A step relay stays in until the next step is armed, so neighbouring steps overlap as well.
            mine, theirs = set(table.live_steps(one)), set(table.live_steps(other))
            follow = {step % table.steps + 1 for step in mine}
            precede = {(step - 2) % table.steps + 1 for step in mine}
            for step in sorted(theirs & (mine | follow | precede)):
                text = f"step {step}: '{one.name}' and '{other.name}' both drive the {one.bus} bus"
                found.append(Hazard(DRIVERS, step, (one.name, other.name), text))
    return found


def _sneaking(table: Table) -> list[Hazard]:
    found = []
    for line in table.lines:
        for step in table.live_steps(line):
            if step not in line.steps:
                shared = tuple(other.name for other in table.lines if other is not line and step in other.steps)
                text = (
                    f"step {step}: '{line.name}' is fed backwards through {', '.join(shared) or 'a shared wire'}: "
                    f"give each line a diode or a pole of its own"
                )
                found.append(Hazard(SNEAK, step, (line.name, *shared), text))
    return found


def _crowded(table: Table, relays: RelaySet) -> list[Hazard]:
    if table.isolation != "poles":
        return []
    found = []
    # One pole of a step relay holds it in.
    free = relays.logic.poles - 1
    for step in range(1, table.steps + 1):
        lines = tuple(line.name for line in table.lines if line.when == "step" and step in line.steps)
        if len(lines) > free:
            text = f"step {step}: {len(lines)} lines need as many poles, and the relay has {free} besides its own"
            found.append(Hazard(POLES, step, lines, text))
    return found
