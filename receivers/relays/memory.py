"""Memory: bit latches, address counter, buses and cells, and what is written where."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise

from .bank import copies
from .contact import Closure, Interval, overlap
from .fault import ADDRESS_OFF, EARLY_WRITE, MOVING_BIT, NO_WRITE, NOT_CLEARED, Fault
from .group_logic import GroupLogic
from .machine import Machine
from .sequencer import Count
from .table import BITS, Table

LEAST_OVERLAP_S = 0.2e-3
"""Data and clock closed together for less than this is no attempt to latch: contacts part that far apart anyway."""


SAME_CLOCK_BOUNCES = 2.0
"""Closings of the clock contact no further apart than this many bounces are one clock."""


@dataclass(frozen=True, slots=True)
class Memory:
    """What happened to memory.

    Attributes:
        cells: address to byte, where anything was written.
        first_address, address_space: where counting began, and how many addresses there are.
        latched: when each bit latch came in, and which (1 = first heard).
        cleared: when the latches fell.
        counts: when the address changed, and to what.
        writes: when a cell took a byte: time, address, byte.
        bits: how many latches there are.
        logic: what their contacts show.
        counted: when a counter of ones that hears what the latches hear came in, and at which bit; ascending.
        copied: where there is a second bank: when it changed, and the byte it shows, most significant bit first.
    """

    cells: dict[int, int]
    first_address: int
    address_space: int
    latched: list[tuple[float, int]]
    cleared: list[float]
    counts: list[tuple[float, int]]
    writes: list[tuple[float, int, int]]
    bits: int
    logic: GroupLogic
    counted: list[tuple[float, int]]
    copied: list[tuple[float, tuple[int, ...]]] | None = None

    def address_at(self, time_s: float) -> int:
        """What the counter shows."""
        place = bisect_right(self.counts, (time_s, 1 << 30))
        return self.counts[place - 1][1] if place else self.first_address

    def byte_at(self, time_s: float) -> int:
        """What the data bus is driven with."""
        if self.copied is None:
            return self.logic.byte(self.latches_at(time_s))
        place = bisect_right(self.copied, time_s, key=lambda change: change[0])
        return int("".join(map(str, self.copied[place - 1][1])), 2) if place else 0

    def byte_changes(self, start_s: float, end_s: float) -> list[float]:
        """When what the data bus is driven with may change between two times: a second bank holds still while the
        latches take the next byte.
        """
        if self.copied is not None:
            return [time_s for time_s, _ in self.copied if start_s <= time_s <= end_s]
        latched = self.latched[bisect_left(self.latched, (start_s,)) : bisect_right(self.latched, (end_s, 1 << 30))]
        cleared = self.cleared[bisect_left(self.cleared, start_s) : bisect_right(self.cleared, end_s)]
        return [*(time_s for time_s, _ in latched), *cleared]

    def counted_byte(self, written_s: float) -> int:
        """The byte that was written then, as a counter of ones has heard it."""
        heard_s = written_s
        if self.copied is not None:
            place = bisect_right(self.copied, written_s, key=lambda change: change[0])
            heard_s = self.copied[place - 1][0] if place else float("-inf")
        return self.logic.byte(self._since_cleared(self.counted, heard_s))

    def latches_at(self, time_s: float) -> tuple[int, ...]:
        """Which latches are in, in the order heard."""
        return self._since_cleared(self.latched, time_s)

    def _since_cleared(self, came_in: list[tuple[float, int]], time_s: float) -> tuple[int, ...]:
        since = self.cleared[bisect_right(self.cleared, time_s) - 1] if self.cleared else float("-inf")
        since = since if since <= time_s else float("-inf")
        first, last = bisect_right(came_in, (since, 1 << 30)), bisect_right(came_in, (time_s, 1 << 30))
        heard = {bit for _, bit in came_in[first:last]}
        return tuple(int(bit in heard) for bit in range(1, self.bits + 1))


def fill(
    count: Count,
    lines: dict[str, list[Closure]],
    data: tuple[list[Interval], ...],
    machine: Machine,
    table: Table,
    logic: GroupLogic,
    first_address: int | None,
) -> tuple[Memory, list[Fault]]:
    """Latch, clear, count and write.

    Args:
        count: how the ring went.
        lines: closures of each line.
        data: when the contact of each bit of a step is closed.
        machine, table: what is built.
        logic: what the latches' contacts show.
        first_address: where to start; the table's own by default.
    """
    faults: list[Fault] = []
    latched, counted = _latch(count, data, machine, table, faults)
    memory = Memory(
        cells={},
        first_address=table.first_address if first_address is None else first_address,
        address_space=table.address_space,
        latched=latched,
        cleared=_clear(lines, machine, table, faults),
        counts=[],
        writes=[],
        bits=table.group_bits,
        logic=logic,
        counted=counted,
    )
    if table.overlapped:
        memory = replace(memory, copied=copies(lines, machine, table, memory, logic, faults))
    moving = _count(lines, machine, table, memory, faults)
    for closure in lines[table.acting("write")[0].name]:
        _write(closure, lines, moving, machine, table, memory, faults)
    return memory, faults


def _latch(
    count: Count, data: tuple[list[Interval], ...], machine: Machine, table: Table, faults: list[Fault]
) -> tuple[list[tuple[float, int]], list[tuple[float, int]]]:
    latched: list[tuple[float, int]] = []
    counted: list[tuple[float, int]] = []
    gap_s = SAME_CLOCK_BOUNCES * machine.clock.bounce_s
    for bit in range(1, table.group_bits + 1):
        place, stream = divmod(bit - 1, table.bits_a_step)
        needed = machine.latches[bit - 1].operate_s
        for first, last, together in _by_clock(count.pulses[table.bit_steps[place] - 1], data[stream], gap_s):
            longest = max(end - start for start, end in together)
            if longest >= machine.counter.operate_s:
                counted.append((together[0][0] + machine.counter.operate_s, bit))
            start = next(start for start, end in together if end - start >= min(needed, longest))
            if longest >= needed:
                latched.append((start + needed, bit))
                middle = 0.5 * (first + last)
                if start > middle or together[-1][1] < middle:
                    text = f"bit {bit}: set by {1e3 * longest:.1f} ms of data at the edge of the clock"
                    faults.append(Fault(start, MOVING_BIT, text, "spill"))
            elif longest > LEAST_OVERLAP_S:
                text = f"bit {bit}: data closed for {1e3 * longest:.1f} ms of the clock, {1e3 * needed:.1f} needed"
                faults.append(Fault(start, MOVING_BIT, text, "latch"))
    return sorted(latched), sorted(counted)


def _by_clock(
    pulses: list[Interval], data: list[Interval], gap_s: float
) -> Iterator[tuple[float, float, list[Interval]]]:
    """Start and end of each clock, the fragments of its bounce together, with what it has in common with the data."""
    clocks: list[Interval] = []
    for start, end in pulses:
        if clocks and start - clocks[-1][1] <= gap_s:
            clocks[-1] = (clocks[-1][0], end)
        else:
            clocks.append((start, end))
    common = overlap(pulses, data)
    place = 0
    for first, last in clocks:
        together = []
        while place < len(common) and common[place][0] < last:
            together.append(common[place])
            place += 1
        if together:
            yield first, last, together


def _clear(lines: dict[str, list[Closure]], machine: Machine, table: Table, faults: list[Fault]) -> list[float]:
    needed = max(latch.release_s for latch in machine.latches)
    cleared: list[float] = []
    for closure in lines[table.acting("clear")[0].name]:
        if closure.leave_s - closure.touch_s >= needed:
            # What is latched while the holding circuit is still open does not stay.
            cleared += [closure.touch_s + needed, closure.leave_s]
        else:
            have = 1e3 * (closure.leave_s - closure.touch_s)
            text = f"the holding circuit was open {have:.1f} ms, {1e3 * needed:.1f} needed"
            faults.append(Fault(closure.touch_s, NOT_CLEARED, text, "clear"))
    return cleared


def _count(
    lines: dict[str, list[Closure]], machine: Machine, table: Table, memory: Memory, faults: list[Fault]
) -> list[Interval]:
    """Fill in the counts; returns when the counter is on the move."""
    moving: list[Interval] = []
    # A carry runs through all bits at worst; the pulse must outlast the first relay.
    carry = machine.counter.operate_s * table.address_bits
    address = memory.first_address
    for closure in lines[table.acting("count")[0].name]:
        have = closure.leave_s - closure.solid_s
        if have < machine.counter.operate_s:
            text = f"the address was not counted up: {1e3 * have:.1f} ms, {1e3 * machine.counter.operate_s:.1f} needed"
            faults.append(Fault(closure.touch_s, ADDRESS_OFF, text, "count"))
            continue
        address = (address + 1) % memory.address_space
        memory.counts.append((closure.solid_s + carry, address))
        moving.append((closure.touch_s, closure.solid_s + carry))
        if len(memory.counts) == memory.address_space + 1:
            text = f"the program is longer than the {memory.address_space} addresses: it begins to overwrite itself"
            faults.append(Fault(closure.touch_s, ADDRESS_OFF, text))
    return moving


def _write(
    closure: Closure,
    lines: dict[str, list[Closure]],
    moving: list[Interval],
    machine: Machine,
    table: Table,
    memory: Memory,
    faults: list[Fault],
) -> None:
    start, end = closure.touch_s, closure.leave_s
    drivers = {
        bus: [_near(lines[line.name], start, end) for line in table.lines if line.bus == bus]
        for bus in ("address", "data")
    }
    writing = table.acting("write")[0]
    for name in writing.uses:
        steady = [used for used in _near(lines[name], start, end) if used.touch_s < end]
        if not steady or steady[0].solid_s > start:
            late = f"{1e3 * (steady[0].solid_s - start):.1f} ms late" if steady else "not there"
            faults.append(Fault(start, EARLY_WRITE, f"'{name}' is {late} for '{writing.name}'", "settle"))
        elif steady[-1].leave_s < end:
            text = f"'{name}' leaves {1e3 * (end - steady[-1].leave_s):.1f} ms before '{writing.name}' has ended"
            faults.append(Fault(start, EARLY_WRITE, text, "hold"))
    place = max(bisect_left(moving, (start,)) - 1, 0)
    unsettled = [interval for interval in moving[place : place + 3] if interval[0] < end and interval[1] > start]
    if unsettled:
        faults.append(Fault(start, EARLY_WRITE, "the address counter is still moving", "settle"))
    cuts = {start, end}
    for lists in drivers.values():
        cuts.update(edge for closures in lists for used in closures for edge in (used.touch_s, used.leave_s))
    cuts.update(edge for interval in unsettled for edge in interval)
    cuts.update(memory.byte_changes(start, end))
    edges = sorted(cut for cut in cuts if start <= cut <= end)
    taken = False
    for before, after in pairwise(edges):
        if after - before < machine.cell.operate_s:
            continue
        middle = 0.5 * (before + after)
        address = _bus(drivers["address"], middle, memory.address_at(middle), memory.address_space - 1)
        byte = _bus(drivers["data"], middle, memory.byte_at(middle), (1 << BITS) - 1)
        memory.cells[address] = byte
        memory.writes.append((before + machine.cell.operate_s, address, byte))
        taken = True
    if not taken:
        text = f"the pulse lasted {1e3 * (end - start):.1f} ms, {1e3 * machine.cell.operate_s:.1f} needed"
        faults.append(Fault(start, NO_WRITE, text, "write"))


def _near(closures: list[Closure], start: float, end: float) -> list[Closure]:
    """The closures that touch ``start`` to ``end``; they ascend."""
    place = bisect_left(closures, start, key=lambda closure: closure.leave_s)
    found = []
    while place < len(closures) and closures[place].touch_s < end:
        found.append(closures[place])
        place += 1
    return found


def _bus(drivers: list[list[Closure]], at_s: float, value: int, every_bit: int) -> int:
    """What a bus carries: nothing without a driver; two drivers at once feed every wire."""
    driving = sum(any(used.touch_s <= at_s <= used.leave_s for used in closures) for closures in drivers)
    return (0, value, every_bit)[min(driving, 2)]
