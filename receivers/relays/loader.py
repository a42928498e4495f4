"""Loader: from the contacts of the input relays to a memory image, with a log and every fault seen."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from itertools import chain

import numpy as np

from ...contracts.keying import Keying
from ...contracts.signal import Signal
from .contact import Closure, Interval, contact_intervals, follow, overlap
from .fault import ALARM, ALARM_MISSED, RING_OFF, Fault
from .group_logic import GroupLogic
from .listening import listen
from .load_record import Load
from .machine import Input, Machine, input_roles
from .memory import Memory, fill
from .sequencer import SAME_CLOCK_S, Count, count_clocks
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
        tone: when a make contact of the second tone's relays is closed, on either track.
    """

    closed: list[Interval]
    opened: list[Interval]
    data: list[Interval]
    end_s: float
    paced: bool = True
    tone: tuple[Interval, ...] = ()

    def until(self, time_s: float) -> Contacts:
        """The same with the feed of the clock's contacts opened then."""
        closed, opened = (
            [(start, min(end, time_s)) for start, end in fed if start < time_s] for fed in (self.closed, self.opened)
        )
        return replace(self, closed=closed, opened=opened)


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
        track = keying.track(role)
        sound = signal if listening.tone_filter is None else listening.tone_filter.passed(signal, track)
        events = listen(sound, track, listening.front_end, listening.coil, listening.armature)
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
    tones = [
        relay(role, listening)[0] for role, listening in zip((first, second), machine.tones, strict=bool(machine.tones))
    ]
    return Contacts(closed, opened, data, signal.duration_s, tone=tuple(_merged(chain(*tones))))


def by_hand(bits: str, keying: Keying, hold_s: float = 0.5) -> Contacts:
    """Contacts of hand keys for single steps: ``bits`` of "0" and "1", one a step, each held and let go for ``hold_s``.

    The data key goes down a quarter of ``hold_s`` before the clock key and up a quarter after it. Where a step says two
    bits its digit is "0" to "3", and the second is a key of its own.
    """
    width = 1 + len(keying.more_tones_hz)
    starts = [(1 + 2 * n) * hold_s for n in range(len(bits))]
    closed = [(start, start + hold_s) for start in starts]
    edges = [0.0, *(edge for interval in closed for edge in interval), starts[-1] + 2 * hold_s if starts else hold_s]
    opened = list(zip(edges[::2], edges[1::2], strict=True))
    data, tone = (
        [
            (start - hold_s / 4, start + 1.25 * hold_s)
            for start, said in zip(starts, bits, strict=True)
            if int(said) >> shift & 1
        ]
        for shift in (width - 1, 0)
    )
    return Contacts(closed, opened, data, edges[-1], paced=False, tone=tuple(tone))


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
    logic = GroupLogic(table.group_layers, keying.least_significant_first)

    def played(contacts: Contacts) -> Load:
        count = count_clocks(contacts.closed, contacts.opened, machine, step_s, start_s, contacts.end_s, paced_until_s)
        lines = _lines(count, machine, table)
        heard = (contacts.data, list(contacts.tone))
        memory, faults = fill(count, lines, heard, machine, table, logic, first_address)
        alarms = [alarm for line in table.acting("alarm") for alarm in _alarms(line, count, lines, memory, machine)]
        return Load(memory, count, lines, (*count.faults, *faults, *alarms), contacts.end_s)

    loaded = played(contacts)
    alarms = sorted((fault for fault in loaded.faults if fault.what == ALARM), key=lambda fault: fault.time_s)
    stopped = bool(alarms) and logic.stops
    if stopped:
        loaded = _held(played(contacts.until(alarms[0].time_s)), alarms[0], table)
    at_rest = () if stopped or not contacts.paced else _not_at_rest(loaded, table, keying)
    told = sorted((*loaded.faults, *at_rest), key=lambda fault: fault.time_s)
    return replace(loaded, faults=tuple(told))


def _held(loaded: Load, alarm: Fault, table: Table) -> Load:
    """The alarm relay holds itself from its first touch on, whatever becomes of the clock that it has cut off."""
    stay = Closure(alarm.time_s, alarm.time_s, loaded.end_s, loaded.end_s)
    lines = {**loaded.lines, **{line.name: [stay] for line in table.acting("alarm")}}
    others = tuple(fault for fault in loaded.faults if fault.what not in (ALARM, ALARM_MISSED))
    return replace(loaded, lines=lines, faults=(*others, alarm))


def _alarms(
    line: Line, count: Count, lines: dict[str, list[Closure]], memory: Memory, machine: Machine
) -> Iterator[Fault]:
    """What feeds the alarm relay; its closures are filled in.

    The chain does, whose latches are at rest by then, and the reset relay through a break contact of the last arming
    relay, which is in where a mark finds the ring as it must be.
    """
    relay = machine.lines[line.name]
    does = "the clock's feed is open" if memory.logic.stops else "the load goes on"
    chained = [
        pulse
        for step in line.steps
        for pulse in count.pulses[step - 1]
        if memory.logic.alarms(memory.latches_at(pulse[0]))
    ]
    stays: list[Closure] = []
    for fed, path, told in (
        (chained, "line", "the latches of address {} do not fit their check"),
        (count.found_off, "recover", "the reset mark before address {} found clocks lost or added"),
    ):
        closures, short = follow(fed, relay)
        stays += closures
        for closure in closures:
            text = told.format(memory.address_at(closure.touch_s))
            yield Fault(closure.touch_s, ALARM, f"{text}: {does}")
        for start, _ in short:
            # A fragment of the contact's bounce is no missed alarm if the rest of the pulse raises it.
            if not any(abs(start - closure.touch_s) < SAME_CLOCK_S for closure in closures):
                yield Fault(start, ALARM_MISSED, "the alarm relay was fed for too short to come in", path)
    lines[line.name] = sorted(stays, key=lambda stay: stay.touch_s)


def _not_at_rest(loaded: Load, table: Table, keying: Keying) -> tuple[Fault, ...]:
    """The lamp across each step relay's coil: after a tape one must be lit, and which is known."""
    right = table.run_out_steps or (1 if keying.end_mark_s is not None else table.steps)
    stands = loaded.count.steps[-1][1] if loaded.count.steps else 0
    if stands == right:
        return ()
    where = f"step {stands}" if stands else "home"
    text = f"after the tape the ring stands at {where} in the place of step {right}: clocks were lost or added"
    return (Fault(loaded.end_s, RING_OFF, text),)


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
        if line.action == "alarm":
            closures[line.name] = []  # fed through a chain of latches, which nobody knows yet
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
