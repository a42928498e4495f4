"""Pace: how many bytes a second a machine can take in, and how many relays that needs."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from ...contracts.keying import KeyedLineCode
from .parts import parts
from .relay_set import RelaySet
from .table import Table
from .timing import closes, shortest_step, shortest_step_s


@dataclass(frozen=True, slots=True)
class Pace:
    """One machine at the shortest step that closes.

    Attributes:
        table: name of its table.
        step_s: that step.
        steps_a_byte: of the code.
        bytes_per_s: while bytes play, leader and tail apart.
        relays: to be bought.
        limited_by: path with the least to spare.
    """

    table: str
    step_s: float
    steps_a_byte: int
    bytes_per_s: float
    relays: int
    limited_by: str


def pace(code: KeyedLineCode, relays: RelaySet, table: Table) -> Pace | None:
    """The pace of ``code`` on a machine of ``relays`` and ``table``; None if no step closes.

    Raises:
        UsageError: a code that the machine cannot follow at any step.
    """
    found = shortest_step(code, relays, table)
    if found is None:
        return None
    keying = code.at_step(found.step_s).keying()
    return Pace(
        table=table.name,
        step_s=found.step_s,
        steps_a_byte=keying.steps_a_byte,
        bytes_per_s=1.0 / keying.seconds_a_byte,
        relays=parts(relays, table, keying).relay_count,
        limited_by=found.limiting.path,
    )


@lru_cache(maxsize=64)
def shortest(code: KeyedLineCode, relays: RelaySet, table: Table) -> float | None:
    """The shortest step that closes, in seconds; None if none does.

    Raises:
        UsageError: a code that the machine cannot follow at any step.
    """
    return shortest_step_s(code, relays, table)


@lru_cache(maxsize=256)
def follows(code: KeyedLineCode, relays: RelaySet, table: Table) -> bool:
    """Whether ``code`` as it is closes.

    Raises:
        UsageError: a code that the machine cannot follow at any step.
    """
    return closes(code, relays, table)


@lru_cache(maxsize=64)
def contact_limit_bits_per_s(code: KeyedLineCode, relays: RelaySet, table: Table) -> float | None:
    """Steps a second that close in the worst corner, times the bits that a step with data brings; None if none closes.

    Steps without data, marks, leader and tail are a format's own affair, and so are no part of this.

    Raises:
        UsageError: a code that the machine cannot follow at any step.
    """
    step_s = shortest(code, relays, table)
    return None if step_s is None else 8 / code.keying().data_steps / step_s
