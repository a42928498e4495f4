"""Sequencer: the ring of step relays that counts the clock contact.

Each step has two relays. While the clock contact is closed the armed step's relay comes in and holds itself; while it
is open that step's arming relay comes in, drops the step before and lets the next clock find the next step. So a clock
counts once however long it is or bounces: only a contact that opens for long enough to arm, and closes again for long
enough to advance, counts twice. A closing that lasts longer than the slow reset relay's delay sets the ring to step 1.

Pulses of a step are taken through the clock contact and the arming relay of the step before, which does not move while
the contact is closed. A step relay stays in until the *next* step is armed, so that lines held over neighbouring steps
do not blink at the handover.
"""

from __future__ import annotations

import heapq
import math
from dataclasses import dataclass

from .contact import Closure, Interval
from .fault import ADDRESS_OFF, DOUBLE_CLOCK, MISSED_CLOCK, Fault
from .machine import Machine

TOO_SOON, TOO_LATE = 0.7, 1.5
"""Clocks nearer together or further apart than these shares of a step are told as double and missed (the machine
itself does not know: this is for the log)."""


MARK_TOO_SOON = 0.75
"""A reset within this share of a byte after the last cannot be a mark: an ordinary clock was taken for one."""

SAME_CLOCK_S = 0.010
"""Closings within this time are one clock with its bounce (no relay of these sizes bounces for longer)."""


@dataclass(frozen=True, slots=True)
class Count:
    """How the ring went.

    Attributes:
        pulses: of each step, index 0 for step 1: when the clock contact was closed in it.
        closures: of each step relay, index 0 for step 1.
        steps: every step taken: when its relay touched, and its number.
        resets: when the reset relay came in, and the step that stood there (1 if the ring was right).
        found_off: where that was not step 1: from then until the clock contact opens.
        faults: what went wrong.
    """

    pulses: tuple[list[Interval], ...]
    closures: tuple[list[Closure], ...]
    steps: list[tuple[float, int]]
    resets: list[tuple[float, int]]
    faults: list[Fault]
    found_off: list[Interval]


class _Ring:
    def __init__(self, machine: Machine) -> None:
        self.machine = machine
        self.count = len(machine.steps)
        self.pulses: tuple[list[Interval], ...] = tuple([] for _ in machine.steps)
        self.closures: tuple[list[Closure], ...] = tuple([] for _ in machine.steps)
        self.steps: list[tuple[float, int]] = []
        self.resets: list[tuple[float, int]] = []
        self.faults: list[Fault] = []
        self.found_off: list[Interval] = []
        self.standing = 0
        self.target = 1
        self.on: dict[int, float] = {}
        self.lingering: tuple[int, float] | None = None
        self.closed: Interval = (0.0, 0.0)
        # A closing too short to advance may be the bounce before one that does: it is told once that is clear.
        self.short: Fault | None = None
        self.since_reset = self.count
        self.paced = True

    def let_go(self, step: int, off_s: float) -> None:
        relay = self.machine.steps[step - 1]
        touch = self.on.pop(step)
        leave = off_s + relay.leave_s
        self.closures[step - 1].append(
            Closure(touch, min(touch + relay.bounce_s, leave), leave, off_s + relay.release_s)
        )

    def come_in(self, step: int, touch_s: float) -> None:
        self.standing = step
        self.on[step] = touch_s
        self.steps.append((touch_s, step))
        self.since_reset += 1

    def clock_closes(self, start: float, end: float) -> None:
        delay = self.machine.reset_s if self.paced else None
        if delay is not None and end - start >= delay:
            self.resets.append((start + delay, self.target))
            if self.target != 1:
                self.found_off.append((start + delay, end))
                self.advance(start, start + delay)
                self.reset(start + delay, end)
                self.since_reset = 0
                return
            self.since_reset = 0
        self.advance(start, end)

    def advance(self, start: float, end: float) -> None:
        if self.lingering is not None:
            old, until = self.lingering
            if start < until:
                self.pulses[old - 1].append((start, min(until, end)))
            self.lingering = None
        self.pulses[self.target - 1].append((start, end))
        self.closed = (start, end)
        relay = self.machine.steps[self.target - 1]
        if self.standing != self.target and end - start >= relay.operate_s:
            if self.short is not None and start - self.short.time_s < SAME_CLOCK_S:
                self.short = None
            self.come_in(self.target, start + relay.operate_s)
        self.tell_short(start)

    def tell_short(self, now_s: float) -> None:
        if self.short is not None and now_s - self.short.time_s >= SAME_CLOCK_S:
            self.faults.append(self.short)
            self.short = None

    def reset(self, start: float, end: float) -> None:
        if self.since_reset < MARK_TOO_SOON * self.count:
            text = f"step {self.target} was taken for a reset mark, {self.since_reset} steps after the last"
            self.faults.append(Fault(start, ADDRESS_OFF, text, "mark"))
        else:
            text = f"the reset mark found step {self.target} in the place of step 1: clocks were lost or added"
            self.faults.append(Fault(start, ADDRESS_OFF, text))
        for step in list(self.on):
            self.let_go(step, start)
        self.target, self.standing = 1, 0
        self.pulses[0].append((start, end))
        relay = self.machine.steps[0]
        if end - start >= relay.operate_s:
            self.come_in(1, start + relay.operate_s)

    def clock_opens(self, start: float, end: float) -> None:
        if self.standing != self.target:
            closed_s, needed_s = self.closed[1] - self.closed[0], self.machine.steps[self.target - 1].operate_s
            if closed_s > 0 and self.short is None:
                text = f"step {self.target}: closed {1e3 * closed_s:.1f} ms, {1e3 * needed_s:.1f} needed"
                self.short = Fault(start, MISSED_CLOCK, text, "advance")
            return
        arming = self.machine.arms[self.target - 1]
        if end - start < arming.operate_s:
            text = f"after step {self.target}: open {1e3 * (end - start):.1f} ms, {1e3 * arming.operate_s:.1f} needed"
            self.faults.append(Fault(start, MISSED_CLOCK, text, "arm"))
            return
        armed = start + arming.operate_s
        for step in list(self.on):
            if step != self.standing:
                self.let_go(step, armed)
        before = (self.target - 2) % self.count + 1
        falls = armed + self.machine.arms[before - 1].leave_s
        if falls > end:
            text = f"after step {self.target}: the arming relay before it is still in when the clock closes"
            self.faults.append(Fault(end, DOUBLE_CLOCK, text, "arm"))
            self.lingering = (self.target, falls)
        self.target = self.target % self.count + 1


def count_clocks(
    closed: list[Interval],
    opened: list[Interval],
    machine: Machine,
    step_s: float | None,
    armed_s: float,
    end_s: float,
    paced_until_s: float = math.inf,
) -> Count:
    """Run the ring from home.

    Args:
        closed, opened: when the clock's make contact, bounce apart, and its break contact are closed; ascending.
        machine: whose relays.
        step_s: nominal, for telling double and missed clocks in the log; None for hand keys, which keep no time.
        armed_s: before this the machine is held at home.
        end_s: end of the capture.
        paced_until_s: from then on the clock is a hand key, which the reset relay would take for a mark: it is switched
            off. Never by default.
    """
    ring = _Ring(machine)
    last_s: float | None = None
    counted = 0
    phases = heapq.merge(((s, e, True) for s, e in closed), ((s, e, False) for s, e in opened))
    for start, end, is_closed in phases:
        if start < armed_s:
            continue
        if not is_closed:
            ring.clock_opens(start, end)
            continue
        ring.paced = start < paced_until_s
        ring.clock_closes(start, end)
        if len(ring.steps) > counted:
            counted = len(ring.steps)
            if last_s is not None and step_s is not None and ring.paced:
                _tell_rhythm(ring, start, start - last_s, step_s)
            last_s = start
    for step in list(ring.on):
        ring.let_go(step, end_s)
    ring.tell_short(float("inf"))
    return Count(ring.pulses, ring.closures, ring.steps, ring.resets, ring.faults, ring.found_off)


def _tell_rhythm(ring: _Ring, at_s: float, gap_s: float, step_s: float) -> None:
    if gap_s < TOO_SOON * step_s:
        text = f"step {ring.standing} came {1e3 * gap_s:.1f} ms after the last: the clock contact opened within a burst"
        ring.faults.append(Fault(at_s, DOUBLE_CLOCK, text))
    elif gap_s > TOO_LATE * step_s:
        # A reset mark lengthens one step by its burst; more than half a step more has no such reason.
        marked = ring.machine.reset_s is not None and ring.standing in (1, 2) and gap_s < (TOO_LATE + 0.5) * step_s
        if not marked:
            text = f"{1e3 * gap_s:.1f} ms from one clock to the next"
            ring.faults.append(Fault(at_s, MISSED_CLOCK, text))
