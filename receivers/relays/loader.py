"""Loader: from the contacts of the input relays to a memory image, with a log and every fault seen."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

import numpy as np

from ...contracts.keying import Keying
from ...contracts.signal import Signal
from .contact import Closure, Interval, contact_intervals, follow, overlap
from .fault import Fault
from .listening import listen
from .machine import Input, Machine, input_roles
from .memory import Memory, fill
from .sequencer import Count, count_clocks
from .table import Line, Table

OPERATOR_S = 0.3
"""How long after the line-up tone's lamp goes out a person arms the machine (common practice: a third of a second)."""


@dataclass(frozen=True, slots=True)
class Contacts:
    """What the two input relays' contacts do.

    Attributes:
        closed, opened: when the clock's make contact, bounce apart, and its break contact are closed; of rails,
            either make contact and both break contacts.
        data: when the data relay's make contact, or the one rail's, is closed.
        end_s: end of the capture.
        paced: a tape keeps time; a hand does not.
    """

    closed: list[Interval]
    opened: list[Interval]
    data: list[Interval]
    end_s: float
    paced: bool = True


@dataclass(frozen=True, slots=True)
class Entry:
    """One line of the log: at ``time_s`` of the capture, ``line`` (or step relay, or latch) did ``what``."""

    time_s: float
    line: str
    what: str

    def __str__(self) -> str:
        return f"{self.time_s:9.4f} s  {self.line} {self.what}"


@dataclass(frozen=True, slots=True)
class Pause:
    """The machine at the end of one step, as single stepping shows it.

    Attributes:
        time_s: when the step began.
        step: its number.
        held: lines that were in at some time in it.
        address: of the counter, when the next step begins.
        latches: the bits heard, when the next step begins.
    """

    time_s: float
    step: int
    held: tuple[str, ...]
    address: int
    latches: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Load:
    """What came of a tape.

    Attributes:
        memory: what was written, and how the counter and the latches went.
        count: how the ring went.
        lines: closures of each line, by name.
        faults: in the order of the tape.
        end_s: end of the capture.
    """

    memory: Memory
    count: Count
    lines: dict[str, list[Closure]]
    faults: tuple[Fault, ...]
    end_s: float

    @property
    def image(self) -> bytes:
        """Memory from the first address to the last written or counted; cells never written are 0."""
        return bytes(self.memory.cells.get(address, 0) for address in self._addresses())

    @property
    def unwritten(self) -> tuple[int, ...]:
        """Positions in ``image`` of cells that were never written."""
        return tuple(n for n, address in enumerate(self._addresses()) if address not in self.memory.cells)

    @property
    def times_s(self) -> list[float]:
        """When each byte of ``image`` was written last; of one that was not, when the one before it was."""
        written = {address: time for time, address, _ in self.memory.writes}
        times, last = [], 0.0
        for address in self._addresses():
            last = written.get(address, last)
            times.append(last)
        return times

    def _addresses(self) -> range:
        first = self.memory.first_address
        last = max((address for address in self.memory.cells if address >= first), default=first - 1)
        counted = min(first + len(self.memory.counts), self.memory.address_space) - 1
        return range(first, max(last, counted) + 1)

    def log(self) -> list[Entry]:
        """What each step relay, line and latch did, in the order of the tape."""
        entries = [Entry(time, f"step {step}", "comes in") for time, step in self.count.steps]
        for name, closures in self.lines.items():
            for closure in closures:
                entries += [Entry(closure.touch_s, name, "closes"), Entry(closure.leave_s, name, "opens")]
        entries += [Entry(time, f"bit {bit}", "is latched") for time, bit in self.memory.latched]
        entries += [Entry(time, "latches", "fall") for time in self.memory.cleared]
        entries += [Entry(time, "address", f"is {address}") for time, address in self.memory.counts]
        entries += [Entry(time, f"cell {address}", f"takes {byte:02X}") for time, address, byte in self.memory.writes]
        entries += [Entry(time, "reset mark", f"finds step {step}") for time, step in self.count.resets]
        return sorted(entries, key=lambda entry: entry.time_s)

    def pauses(self) -> Iterator[Pause]:
        """The machine step by step."""
        ends = [time for time, _ in self.count.steps[1:]] + [self.end_s]
        for (start, step), end in zip(self.count.steps, ends, strict=True):
            held = tuple(
                name
                for name, closures in self.lines.items()
                if any(closure.touch_s < end and closure.leave_s > start for closure in closures)
            )
            yield Pause(start, step, held, self.memory.address_at(end), self.memory.latches_at(end))


def load(
    signal: Signal,
    machine: Machine,
    table: Table,
    keying: Keying,
    rng: np.random.Generator,
    first_address: int | None = None,
) -> Load:
    """What ``machine`` makes of a tape. Total: any signal.

    Args:
        rng: draws each bounce.
        first_address: where to start, as after a restart; the table's own by default.
    """
    contacts = hear(signal, machine, keying, rng)
    return run(contacts, machine, table, keying, armed_s(contacts, keying), first_address)


def hear(signal: Signal, machine: Machine, keying: Keying, rng: np.random.Generator) -> Contacts:
    """The contacts of the input relays while ``signal`` plays."""

    def relay(role: str, listening: Input) -> tuple[list[Interval], list[Interval]]:
        events = listen(signal, keying.track(role), listening.front_end, listening.coil, listening.armature)
        return contact_intervals(
            events, signal.duration_s, listening.coil.pick_up_a, listening.bounce_s, machine.bounces, rng
        )

    first, second = input_roles(keying)
    closed, opened = relay(first, machine.clock)
    data, not_data = relay(second, machine.data)
    if first == "zero":
        closed, opened = _merged((*closed, *data)), overlap(opened, not_data)
    if machine.repeater is not None:
        closures, _ = follow(closed, machine.repeater)
        closed = [(closure.solid_s, closure.leave_s) for closure in closures]
        edges = [0.0, *(t for closure in closures for t in (closure.touch_s, closure.gone_s)), signal.duration_s]
        opened = [(start, end) for start, end in zip(edges[::2], edges[1::2], strict=True) if end > start]
    return Contacts(closed, opened, data, signal.duration_s)


def by_hand(bits: str, keying: Keying, hold_s: float = 0.5) -> Contacts:
    """Contacts of hand keys for single steps: ``bits`` of "0" and "1", one a step, each held and let go for ``hold_s``.

    The data key goes down a quarter of ``hold_s`` before the clock key and up a quarter after it.
    """
    starts = [(1 + 2 * n) * hold_s for n in range(len(bits))]
    closed = [(start, start + hold_s) for start in starts]
    edges = [0.0, *(edge for interval in closed for edge in interval), starts[-1] + 2 * hold_s if starts else hold_s]
    opened = list(zip(edges[::2], edges[1::2], strict=True))
    data = [(start - hold_s / 4, start + 1.25 * hold_s) for start, bit in zip(starts, bits, strict=True) if bit == "1"]
    return Contacts(closed, opened, data, edges[-1], paced=False)


def armed_s(contacts: Contacts, keying: Keying) -> float:
    """When the operator arms the machine: at once, or after the line-up lamp has gone out."""
    if keying.line_up_s <= 0:
        return 0.0
    # The lamp is out when the clock contact has been open for half the leader; a fading in the tone is shorter.
    wait_s = min(OPERATOR_S, 0.5 * (keying.first_step_s - keying.line_up_s))
    for start, end in contacts.opened:
        # Without any tone to wait for, a person gives up waiting for it.
        silent_s = max(start, 0.5 * keying.line_up_s)
        if end - silent_s > wait_s:
            return silent_s + wait_s
    return contacts.end_s


def run(
    contacts: Contacts,
    machine: Machine,
    table: Table,
    keying: Keying,
    start_s: float = 0.0,
    first_address: int | None = None,
) -> Load:
    """What ``machine`` makes of given contacts, armed at ``start_s``."""
    step_s = keying.step_s if contacts.paced else None
    paced_until_s = contacts.end_s if contacts.paced else 0.0
    if table.overlapped:
        contacts = _run_out(contacts, table, keying)
    count = count_clocks(contacts.closed, contacts.opened, machine, step_s, start_s, contacts.end_s, paced_until_s)
    lines = _lines(count, machine, table)
    memory, faults = fill(count, lines, contacts.data, machine, table, keying.least_significant_first, first_address)
    told = sorted((*count.faults, *faults), key=lambda fault: fault.time_s)
    return Load(memory, count, lines, tuple(told), contacts.end_s)


def _run_out(contacts: Contacts, table: Table, keying: Keying) -> Contacts:
    """The same with the clock key pressed after the tape until the last byte is written; an end mark is one step."""
    presses = table.run_out_steps - (keying.end_mark_s is not None)
    after = by_hand("0" * presses, keying)
    closed, opened = (
        [*played, *((start + contacts.end_s, end + contacts.end_s) for start, end in pressed)]
        for played, pressed in ((contacts.closed, after.closed), (contacts.opened, after.opened))
    )
    return replace(contacts, closed=closed, opened=_merged(opened), end_s=contacts.end_s + after.end_s)


def _lines(count: Count, machine: Machine, table: Table) -> dict[str, list[Closure]]:
    closures: dict[str, list[Closure]] = {}

    def close(line: Line) -> list[Closure]:
        if line.name not in closures:
            coil = _merged(
                interval
                for step in table.live_steps(line)
                for interval in (
                    count.pulses[step - 1]
                    if line.when == "clock"
                    else [(closure.solid_s, closure.leave_s) for closure in count.closures[step - 1]]
                )
            )
            if table.overlapped and line.action in ("write", "count"):
                filled_s = min((closure.solid_s for closure in close(table.acting("copy")[0])), default=float("inf"))
                coil = [interval for interval in coil if interval[0] >= filled_s]
            for other in line.through:
                coil = overlap(coil, [(closure.solid_s, closure.leave_s) for closure in close(table.line(other))])
            closures[line.name], _ = follow(coil, machine.lines[line.name])
        return closures[line.name]

    for line in table.lines:
        close(line)
    return closures


def _merged(intervals: Iterable[Interval]) -> list[Interval]:
    merged: list[Interval] = []
    for start, end in sorted(intervals):
        if merged and start <= merged[-1][1]:
            merged[-1] = (merged[-1][0], max(end, merged[-1][1]))
        else:
            merged.append((start, end))
    return merged
