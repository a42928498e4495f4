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
from numpy.typing import NDArray

from ...contracts.errors import UsageError
from ...contracts.keying import KeyedLineCode, Keying
from .contact import LEAST_BOUNCE
from .corner import Corner, Surroundings, everywhere
from .edges import PATTERN, Edges, Stays, TestTape, edges_of, stays_of
from .front_end import listen
from .hazard import Hazard, hazards
from .line_paths import CornerOf, line_margins
from .machine import Machine, build
from .margin import Margin
from .relay_set import RelaySet
from .suitability import reason_against
from .table import Table

GUARD_S = 0.1e-3
"""Taken off every margin: contacts are told to a sample, and a machine between two corners can be this much worse."""

SHORTEST_S, LONGEST_S = 0.002, 2.0
PRECISION = 0.005

Pair = tuple[str, int]
"""An input relay's kind, and whether its reservoir is at its least (-1) or most (1)."""


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

    def at(step_s: float) -> Timing | None:
        try:
            tried = code.at_step(step_s)
        except UsageError:
            return None
        found = timing(tried, relays, table)
        return found if found.closes else None

    high = code.keying().step_s
    found = at(high)
    low = high
    while found is None:
        low, high = high, 1.25 * high
        if high > LONGEST_S:
            return None
        found = at(high)
    while low >= high:
        low = 0.8 * high
        if low < SHORTEST_S:
            return found
        shorter = at(low)
        if shorter is not None:
            found, high = shorter, low
    while high / low > 1 + PRECISION:
        middle = float(np.sqrt(low * high))
        shorter = at(middle)
        if shorter is not None:
            found, high = shorter, middle
        else:
            low = middle
    return found


def _all_margins(tape: TestTape, keying: Keying, relays: RelaySet, table: Table) -> Iterator[Margin]:
    for speed in (-1, 1):
        tapes = {kind: tape.played(relays, speed, (kind == "long", kind == "long")) for kind in ("short", "long")}
        bursts = tape.bursts("clock", relays, speed)
        for temperature in (-1, 1):
            clocks: dict[Pair, Edges | None] = {}
            data: dict[Pair, Stays] = {}
            around = Surroundings(temperature, -1, speed)
            for kind, reservoir in product(("short", "long"), (-1, 1)):
                machine = build(relays, table, keying, everywhere(kind, around, reservoir))
                heard = {
                    role: listen(tapes[kind], keying.track(role), hearing.front_end, hearing.coil, hearing.armature)
                    for role, hearing in (("clock", machine.clock), ("data", machine.data))
                }
                clocks[kind, reservoir] = edges_of(heard["clock"], bursts, machine.clock)
                data[kind, reservoir] = stays_of(heard["data"], machine.data)
            for supply in (-1, 1):
                around = Surroundings(temperature, supply, speed)
                at = {
                    kind: build(relays, table, keying, everywhere(kind, around))
                    for kind in ("slow", "fast", "short", "long")
                }
                for pair, clock in clocks.items():
                    yield from _at(around, pair, clock, data, at, relays, table)


def _at(
    around: Surroundings,
    pair: Pair,
    clock: Edges | None,
    data: dict[Pair, Stays],
    at: dict[str, Machine],
    relays: RelaySet,
    table: Table,
) -> Iterator[Margin]:
    kind, reservoir = pair

    def corner(*kinds: tuple[str, str]) -> Corner:
        return Corner(around, (("clock", kind), *kinds), (("clock", reservoir),))

    if clock is None:
        path = "advance" if kind == "short" else "arm"
        yield Margin(path, "the clock relay does not follow", 0.0, -np.inf, corner())
        return
    if at[kind].repeater is not None:
        yield _repeats_once(clock, at, corner)
        clock = _repeated(clock, kind, at)
    yield from _ring_margins(clock, at, table, corner)
    yield from line_margins(clock, at, table, corner, GUARD_S)
    for other, skew in product((-1, 1), (-1, 1)):
        kinds = (("clock", kind), ("data", kind), ("bit", "slow" if kind == "short" else "fast"))
        both = Corner(around, kinds, (("clock", reservoir), ("data", other)), skew)
        if kind == "short":
            yield from _latch_margins(clock, data[kind, other], at, relays, table, both)
        else:
            yield from _spill_margins(clock, data[kind, other], at, relays, table, both)


def _repeats_once(clock: Edges, at: dict[str, Machine], corner: CornerOf) -> Margin:
    """A bounce too short for the repeater to come in by itself, or to let go in."""
    fast = at["fast"].repeater
    assert fast is not None  # the caller has asked
    bouncing = float((clock.solid_s - clock.touch_s).max())
    return Margin("bounce", "repeater", bouncing, max(fast.operate_s, fast.leave_s), corner(("repeater", "fast")))


def _repeated(clock: Edges, kind: str, at: dict[str, Machine]) -> Edges:
    """The contacts of the repeater, at the same kind as the relay that it repeats."""
    repeater = at[kind].repeater
    assert repeater is not None  # the caller has asked
    return Edges(
        touch_s=clock.touch_s + repeater.operate_s,
        solid_s=clock.solid_s + repeater.operate_s + repeater.bounce_s,
        leave_s=clock.leave_s + repeater.leave_s,
        gone_s=clock.leave_s + repeater.release_s,
        lift_s=clock.touch_s + repeater.operate_s,
    )


def _ring_margins(clock: Edges, at: dict[str, Machine], table: Table, corner: CornerOf) -> Iterator[Margin]:
    steps = np.arange(clock.touch_s.size) % table.steps
    closed = clock.leave_s - clock.solid_s
    for step in range(table.steps):
        have = float(closed[steps == step].min()) - GUARD_S
        yield Margin("advance", f"step {step + 1}", at["slow"].steps[step].operate_s, have, corner(("step", "slow")))
    opened = clock.lift_s[1:] - clock.gone_s[:-1]
    for step in range(table.steps):
        before = at["slow"].arms[(step - 1) % table.steps]
        need = at["slow"].arms[step].operate_s + before.leave_s
        have = float(opened[steps[:-1] == step].min()) - GUARD_S
        yield Margin("arm", f"after step {step + 1}", need, have, corner(("arm", "slow")))
    fast_reset, slow_reset = at["fast"].reset_s, at["slow"].reset_s
    if fast_reset is not None and slow_reset is not None:
        least_bounce = LEAST_BOUNCE * at["fast"].clock.bounce_s
        longest = float((clock.leave_s - clock.touch_s)[steps > 0].max()) - least_bounce + GUARD_S
        hindered = corner(("reset", "fast"), ("clock", "lasting"))
        yield Margin("mark", "reset relay", longest, fast_reset, hindered)
        need = slow_reset + at["slow"].steps[0].operate_s
        yield Margin("recover", "step 1", need, float(closed[steps == 0].min()) - GUARD_S, corner(("reset", "slow")))


def _pattern_bits(table: Table) -> tuple[NDArray[np.bool_], NDArray[np.int64], NDArray[np.int64]]:
    """Of each bit of the pattern: whether it is a one, its place among the clocks, its number in its byte."""
    bits = np.unpackbits(np.frombuffer(PATTERN, np.uint8)).reshape(len(PATTERN), -1)
    places = [table.steps * byte + table.bit_steps[bit] - 1 for byte, bit in np.ndindex(bits.shape)]
    return bits.ravel() == 1, np.array(places), np.arange(bits.size) % bits.shape[1]


def _latch_margins(
    clock: Edges, data: Stays, at: dict[str, Machine], relays: RelaySet, table: Table, corner: Corner
) -> Iterator[Margin]:
    ones, places, numbers = _pattern_bits(table)
    shift = corner.skew * relays.tape.skew_s
    first = np.maximum(clock.solid_s[places][:, None], data.solid_s + shift)
    last = np.minimum(clock.leave_s[places][:, None], data.leave_s + shift)
    together = (last - first).max(axis=1, initial=-1.0)
    for bit in np.unique(numbers[ones]):
        have = float(together[ones & (numbers == bit)].min()) - GUARD_S
        yield Margin("latch", f"bit {bit + 1}", at["slow"].latches[bit].operate_s, have, corner)


def _spill_margins(
    clock: Edges, data: Stays, at: dict[str, Machine], relays: RelaySet, table: Table, corner: Corner
) -> Iterator[Margin]:
    ones, places, numbers = _pattern_bits(table)
    shift = corner.skew * relays.tape.skew_s
    # For each clock of a zero, how long any data contact is closed with it; negative: how far apart they are.
    first = np.maximum(clock.touch_s[places][:, None], data.touch_s + shift)
    last = np.minimum(clock.leave_s[places][:, None], data.leave_s + shift)
    common = (last - first).max(axis=1, initial=-1.0)
    for bit in np.unique(numbers[~ones]):
        stolen = float(common[~ones & (numbers == bit)].max()) + GUARD_S
        yield Margin("spill", f"bit {bit + 1}", stolen, at["fast"].latches[bit].operate_s, corner)
