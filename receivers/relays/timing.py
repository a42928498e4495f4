"""Timing: whether a code is slow enough for a machine, by how much, and what limits it. Without a simulated load.

Every path is worked out in each corner of temperature, supply and tape speed, with the relays that hinder it at their
limits, from the same coils, front ends and contacts that a load uses. What comes out safe never fails on a tape
without dropouts; and it is not timid: well below the shortest step the named corner does fail.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import product

import numpy as np

from ...contracts.errors import UsageError
from ...contracts.keying import KeyedLineCode, Keying
from .bench import Bench
from .contact import LEAST_BOUNCE
from .corner import Corner, Surroundings
from .ears import Ears, Variant
from .edges import Edges, Stays, TestTape, joined
from .hazard import Hazard, hazards
from .line_paths import CornerOf, line_margins
from .machine import Machine
from .margin import Margin
from .relay_set import RelaySet
from .ring_paths import latch_margins, mark_margins, repeated, repeats_once, ring_margins, spill_margins
from .suitability import reason_against
from .table import Table

SHORTEST_S, LONGEST_S = 0.002, 2.0
PRECISION = 0.005
WIDER = 1.25
"""Factor from one step that is tried to the next, before the limit is closed in on."""


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
    return _timing(code, Bench(relays, table, keying))


def _timing(code: KeyedLineCode, bench: Bench) -> Timing:
    keying = code.keying()
    worst: dict[tuple[str, str], Margin] = {}
    recovery: Margin | None = None
    for margin in _all_margins(TestTape(code), keying, bench):
        key = (margin.path, margin.where)
        if margin.path == "recover":
            if recovery is None or margin.margin_s < recovery.margin_s:
                recovery = margin
        elif key not in worst or margin.margin_s < worst[key].margin_s:
            worst[key] = margin
    ordered = sorted(worst.values(), key=lambda margin: margin.margin_s)
    return Timing(keying.step_s, tuple(ordered), recovery, hazards(bench.table, bench.relays))


def shortest_step(code: KeyedLineCode, relays: RelaySet, table: Table) -> Timing | None:
    """The timing at the shortest step that closes, to half a percent; None if none from 2 ms to two seconds does.

    Bursts, lead and edges keep their shares of a step. A step that the code itself cannot have does not close. The
    answer does not hang on the code's own step: what fails at one step may close at a longer one or at a shorter one
    (a burst whose edges have grown with it lifts the coil slowly past pick-up, and the contact bounces longer).

    Raises:
        UsageError: a code that the machine cannot follow at any step.
    """
    step_s = shortest_step_s(code, relays, table)
    return None if step_s is None else _timing(code.at_step(step_s), Bench(relays, table, code.keying()))


def closes(code: KeyedLineCode, relays: RelaySet, table: Table) -> bool:
    """Whether every path has time to spare with ``code`` as it is.

    Raises:
        UsageError: a code that the machine cannot follow at any step.
    """
    reason = reason_against(code.keying(), relays, table)
    if reason is not None:
        raise UsageError(reason)
    return _closes(code, code.keying().step_s, Bench(relays, table, code.keying()))


def shortest_step_s(code: KeyedLineCode, relays: RelaySet, table: Table) -> float | None:
    """The shortest step that closes, as ``shortest_step`` finds it, without its margins.

    Raises:
        UsageError: a code that the machine cannot follow at any step.
    """
    reason = reason_against(code.keying(), relays, table)
    if reason is not None:
        raise UsageError(reason)
    own_s = code.keying().step_s
    lowest, highest = (int(np.log(limit_s / own_s) / np.log(WIDER)) for limit_s in (SHORTEST_S, LONGEST_S))
    ladder = [own_s * WIDER**rung for rung in range(lowest, highest + 1)]
    bench = Bench(relays, table, code.keying())
    closing_s = next((step_s for step_s in ladder if _closes(code, step_s, bench)), None)
    if closing_s is None:
        return None
    failing_s = closing_s / WIDER
    while closing_s / failing_s > 1 + PRECISION:
        middle_s = float(np.sqrt(failing_s * closing_s))
        if _closes(code, middle_s, bench):
            closing_s = middle_s
        else:
            failing_s = middle_s
    return closing_s


def _closes(code: KeyedLineCode, step_s: float, bench: Bench) -> bool:
    """Whether every path has time to spare at that step; the first that has not ends the search."""
    try:
        tried = code.at_step(step_s)
    except UsageError:
        return False
    margins = _all_margins(TestTape(tried), tried.keying(), bench)
    return all(margin.margin_s >= 0 for margin in margins if margin.path != "recover")


def _all_margins(tape: TestTape, keying: Keying, bench: Bench) -> Iterator[Margin]:
    for speed in (-1, 1):
        ears = None
        for temperature, supply in product((-1, 1), (-1, 1)):
            around = Surroundings(temperature, supply, speed)
            if ears is None or supply < 0 or bench.relays.front_end.driver == "transistor":
                # Only a transistor feeds an input relay from the supply.
                ears = Ears(tape, keying, bench, around)
            at = {kind: bench.worst(kind, around, keying) for kind in ("slow", "fast", "short", "long")}
            machines = _Machines(around, keying, at, bench.relays, bench.table)
            for variant in ears.variants():
                yield from (machines.on_a_clock if "clock" in keying.roles else machines.on_rails)(variant, ears)


@dataclass(frozen=True, slots=True)
class _Machines:
    """Machines in one corner of what all relays share.

    Attributes:
        at: all relays of each kind.
    """

    around: Surroundings
    keying: Keying
    at: dict[str, Machine]
    relays: RelaySet
    table: Table

    def on_a_clock(self, variant: Variant, ears: Ears) -> Iterator[Margin]:
        """The margins with a clock relay of one variant and every data relay of its kind."""
        kind, reservoir, resistance, tuning = variant
        inputs = (("clock", reservoir, resistance, tuning),)
        clock = ears.edges("clock", variant)
        if clock is None:
            yield self._deaf(kind, "clock", self._corner_of(kind, inputs, 0)())
            return
        least_bounce_s = LEAST_BOUNCE * self.at["fast"].clock.bounce_s
        yield from self._followed(clock, kind, self._corner_of(kind, inputs, 0), least_bounce_s)
        if self.around.speed < 0:
            return
        for other, limit, skew in product((-1, 1), (-1, 1), (-1, 1)):
            data = ears.stays("data", (kind, other, limit, 0))
            corner_of = self._corner_of(kind, (*inputs, ("data", other, limit, 0)), skew)
            yield from self._bits(clock, data, kind, skew, corner_of(("data", kind)))

    def on_rails(self, variant: Variant, ears: Ears) -> Iterator[Margin]:
        """The margins with a relay of one variant on the zero rail and every one of its kind on the one rail.

        Skew and unlike relays shorten the silence from a burst on one rail to a burst on the other.
        """
        kind, reservoir, resistance, _ = variant
        for other, limit, skew in product((-1, 1), (-1, 1), (-1, 1)):
            inputs = (("zero", reservoir, resistance, 0), ("one", other, limit, 0))
            corner_of = self._corner_of(kind, inputs, skew)
            zero, one = ears.edges("zero", variant), ears.edges("one", (kind, other, limit, 0))
            if zero is None or one is None:
                yield self._deaf(kind, "zero" if zero is None else "one", corner_of())
                continue
            one = one.late_by(skew * self.relays.tape.skew_s)
            clock = joined(zero, one, ears.bursts["zero"], ears.bursts["one"])
            # Where both rails sound, the bounce of one may be bridged by the other.
            yield from self._followed(clock, kind, corner_of, 0.0)
            if self.around.speed > 0:
                yield from self._bits(clock, one, kind, 0, corner_of())
                yield from self._second_bits(clock, kind, inputs, skew, ears)

    def _second_bits(
        self, clock: Edges, kind: str, inputs: tuple[tuple[str, int, int, int], ...], skew: int, ears: Ears
    ) -> Iterator[Margin]:
        """The margins of the bits that the second tone says, with both its relays at each limit."""
        if not self.keying.more_tones_hz:
            return
        for limits in product((-1, 1), (-1, 1), (-1, 1)):
            tones = (("zero tone", *limits), ("one tone", *limits))
            heard = ears.tone_stays((kind, *limits), skew * self.relays.tape.skew_s)
            corner = self._corner_of(kind, (*inputs, *tones), skew)()
            yield from self._bits(clock, heard, kind, 0, corner, stream=1)

    def _corner_of(self, kind: str, inputs: tuple[tuple[str, int, int, int], ...], skew: int) -> CornerOf:
        following = ("clock",) if "clock" in self.keying.roles else ("zero", "one")

        def corner(*kinds: tuple[str, str]) -> Corner:
            # What is named later counts: a margin may ask for another repeater than the one that suits the clock.
            told = (
                (each, now)
                for role, now in (("clock", kind), ("repeater", kind), *kinds)
                for each in (following if role == "clock" else (role,))
            )
            return Corner(self.around, tuple(told), inputs, skew)

        return corner

    def _deaf(self, kind: str, role: str, corner: Corner) -> Margin:
        return Margin(
            "advance" if kind == "short" else "arm", f"the {role} relay does not follow", 0.0, -np.inf, corner
        )

    def _followed(self, clock: Edges, kind: str, corner: CornerOf, least_bounce_s: float) -> Iterator[Margin]:
        """The margins of ring and lines."""
        if self.at[kind].repeater is not None:
            yield repeats_once(clock, self.at, corner)
        counted = self._counted(clock, kind)
        yield from mark_margins(counted, self.at, self.table, corner, least_bounce_s)
        if self.around.speed > 0:
            yield from ring_margins(counted, self.at, self.table, corner)
            yield from line_margins(counted, self.at, self.table, corner)

    def _counted(self, clock: Edges, kind: str) -> Edges:
        return clock if self.at[kind].repeater is None else repeated(clock, kind, self.at)

    def _bits(
        self, clock: Edges, data: Stays, kind: str, skew: int, corner: Corner, stream: int = 0
    ) -> Iterator[Margin]:
        """The margins of the latches of one ``stream`` of bits, ``data`` still to be moved by ``skew``."""
        stolen = ("bit", "slow" if kind == "short" else "fast")
        margins = latch_margins if kind == "short" else spill_margins
        yield from margins(
            self._counted(clock, kind),
            data.late_by(skew * self.relays.tape.skew_s),
            self.at,
            self.table,
            self.keying.least_significant_first,
            replace(corner, kinds=(*corner.kinds, stolen)),
            stream,
        )
