"""Timing: whether a code is slow enough for a machine, by how much, and what limits it. Without a simulated load.

Every path is worked out in each corner of temperature, supply and tape speed, with the relays that hinder it at their
limits, from the same coils, front ends and contacts that a load uses. What comes out safe never fails on a tape
without dropouts; and it is not timid: well below the shortest step the named corner does fail.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product

import numpy as np

from ...contracts.errors import UsageError
from ...contracts.keying import KeyedLineCode, Keying
from ...contracts.signal import Signal
from .corner import Corner, Surroundings, everywhere, worst_machine
from .edges import Edges, Stays, TestTape, Times, edges_of, stays_of
from .hazard import Hazard, hazards
from .line_paths import line_margins
from .listening import listen
from .machine import Machine, build
from .margin import Margin
from .relay_set import RelaySet
from .ring_paths import latch_margins, mark_margins, repeated, repeats_once, ring_margins, spill_margins
from .suitability import reason_against
from .table import Table

SHORTEST_S, LONGEST_S = 0.002, 2.0
PRECISION = 0.005
WIDER = 1.5
"""Factor by which steps are tried before the limit is closed in on."""

KINDS_OF_TAPE = {-1: ("long",), 1: ("short", "long")}
"""Input relays that are tried on a slow tape and on a fast one: a slow tape is easier for all but the relay that must
not take a long clock for a mark."""

Variant = tuple[str, int, int]
"""An input relay's kind, its reservoir and its resistance, each at its least (-1) or most (1)."""


@dataclass(frozen=True, slots=True)
class Timing:
    """What a code at one step leaves to spare.

    Attributes:
        step_s: the step.
        margins: the worst of each path and place, the smallest first.
        recovery: the same for what a tape without dropouts never needs: the reset mark's work after a lost clock.
        hazards: what is wrong with the table whatever the step.
    """

    step_s: float
    margins: tuple[Margin, ...]
    recovery: Margin | None
    hazards: tuple[Hazard, ...]

    @property
    def limiting(self) -> Margin:
        """The path with the least to spare."""
        return self.margins[0]

    @property
    def closes(self) -> bool:
        """Whether every path has time to spare."""
        return self.limiting.margin_s >= 0

    @property
    def hopeless(self) -> bool:
        """Whether a longer step would not help: a relay that never picks up, a bounce, a bus that is not driven."""
        failing = [margin for margin in self.margins if margin.margin_s < 0]
        return any(
            margin.path == "bounce" or np.isinf(margin.need_s) or (margin.path == "settle" and np.isinf(margin.have_s))
            for margin in failing
        )


def timing(code: KeyedLineCode, relays: RelaySet, table: Table) -> Timing:
    """The margins of ``code`` as it is.

    Raises:
        UsageError: a code that the machine cannot follow at any step.
    """
    keying = code.keying()
    reason = reason_against(keying, relays, table)
    if reason is not None:
        raise UsageError(reason)
    worst: dict[tuple[str, str], Margin] = {}
    recovery: Margin | None = None
    tape = TestTape(code)
    for margin in _all_margins(tape, keying, relays, table):
        key = (margin.path, margin.where)
        if margin.path == "recover":
            if recovery is None or margin.margin_s < recovery.margin_s:
                recovery = margin
        elif key not in worst or margin.margin_s < worst[key].margin_s:
            worst[key] = margin
    ordered = sorted(worst.values(), key=lambda margin: margin.margin_s)
    return Timing(keying.step_s, tuple(ordered), recovery, hazards(table, relays))


def shortest_step(code: KeyedLineCode, relays: RelaySet, table: Table) -> Timing | None:
    """The timing at the shortest step that closes, to half a percent; None if none up to two seconds does.

    Bursts, lead and edges keep their shares of a step. A step that the code itself cannot have does not close.
    """
    step_s = code.keying().step_s
    found, last = _try(code, step_s, relays, table), step_s
    while found is None or not found.closes:
        before, last, step_s = found, step_s, WIDER * step_s
        if step_s > LONGEST_S or (found is not None and found.hopeless):
            return None
        found = _try(code, step_s, relays, table)
        if before is not None and found is not None and _worse(found, before):
            return None
    while last == step_s:
        shorter = _try(code, step_s / WIDER, relays, table)
        if shorter is not None and shorter.closes and step_s / WIDER > SHORTEST_S:
            found = shorter
            last = step_s = step_s / WIDER
        else:
            last = step_s / WIDER
    while step_s / last > 1 + PRECISION:
        middle = float(np.sqrt(last * step_s))
        shorter = _try(code, middle, relays, table)
        if shorter is not None and shorter.closes:
            found, step_s = shorter, middle
        else:
            last = middle
    return found


def _worse(wider: Timing, before: Timing) -> bool:
    """Whether a wider step has less to spare: then no step closes."""
    return bool(np.isfinite(before.limiting.margin_s)) and wider.limiting.margin_s <= before.limiting.margin_s


def _try(code: KeyedLineCode, step_s: float, relays: RelaySet, table: Table) -> Timing | None:
    """The timing at that step; None if the code cannot have it."""
    try:
        tried = code.at_step(step_s)
    except UsageError:
        return None
    return timing(tried, relays, table)


@dataclass(frozen=True, slots=True)
class _Heard:
    """What the input relays do in one corner, of one kind and with their reservoirs at one limit."""

    clock: Edges | None
    data: Stays


def _all_margins(tape: TestTape, keying: Keying, relays: RelaySet, table: Table) -> Iterator[Margin]:
    for speed in (-1, 1):
        tapes = {kind: tape.played(relays, speed, kind == "long") for kind in KINDS_OF_TAPE[speed]}
        bursts = tape.bursts("clock", relays, speed)
        heard: dict[Variant, _Heard] = {}
        for temperature, supply in product((-1, 1), (-1, 1)):
            around = Surroundings(temperature, supply, speed)
            if supply < 0 or relays.front_end.driver == "transistor":
                # Only a transistor feeds an input relay from the supply.
                heard = {
                    (kind, reservoir, resistance): _hear(
                        played,
                        bursts,
                        keying,
                        build(relays, table, keying, everywhere(kind, around, resistance, reservoir)),
                    )
                    for (kind, played), reservoir, resistance in product(tapes.items(), (-1, 1), (-1, 1))
                }
            at = {
                kind: worst_machine(
                    kind,
                    build(relays, table, keying, everywhere(kind, around, -1)),
                    build(relays, table, keying, everywhere(kind, around, 1)),
                )
                for kind in ("slow", "fast", "short", "long")
            }
            for variant in heard:
                yield from _at(around, variant, heard, at, relays, table)


def _hear(played: Signal, bursts: Times, keying: Keying, machine: Machine) -> _Heard:
    """The input relays of ``machine`` on the test tape."""
    clock, data = (
        listen(played, keying.track(role), hearing.front_end, hearing.coil, hearing.armature)
        for role, hearing in (("clock", machine.clock), ("data", machine.data))
    )
    return _Heard(edges_of(clock, bursts, machine.clock), stays_of(data, machine.data))


def _at(
    around: Surroundings,
    variant: Variant,
    heard: dict[Variant, _Heard],
    at: dict[str, Machine],
    relays: RelaySet,
    table: Table,
) -> Iterator[Margin]:
    kind, reservoir, resistance = variant
    clock = heard[variant].clock
    at_clock = ("clock", reservoir, resistance)

    def corner(*kinds: tuple[str, str]) -> Corner:
        # What is named later counts: a margin may ask for another repeater than the one that suits the clock.
        return Corner(around, (("clock", kind), ("repeater", kind), *kinds), (at_clock,))

    if clock is None:
        path = "advance" if kind == "short" else "arm"
        yield Margin(path, "the clock relay does not follow", 0.0, -np.inf, corner())
        return
    if at[kind].repeater is not None:
        yield repeats_once(clock, at, corner)
        clock = repeated(clock, kind, at)
    yield from mark_margins(clock, at, table, corner)
    if around.speed < 0:
        return
    yield from ring_margins(clock, at, table, corner)
    yield from line_margins(clock, at, table, corner)
    for *places, skew in product((-1, 1), (-1, 1), (-1, 1)):
        kinds = (("clock", kind), ("repeater", kind), ("data", kind), ("bit", "slow" if kind == "short" else "fast"))
        both = Corner(around, kinds, (at_clock, ("data", places[0], places[1])), skew)
        margins = latch_margins if kind == "short" else spill_margins
        yield from margins(clock, heard[kind, places[0], places[1]].data, at, relays, table, both)
