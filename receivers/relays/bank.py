"""Bank: a second bank of latches, which holds a byte while the bits of the next are heard.

While the copying line is in, each latch of the bank is fed through the contacts that show its bit of the byte; it
holds itself until the releasing line opens the holding circuit.
"""

from __future__ import annotations

from typing import Protocol

from .contact import Closure
from .fault import NOT_CLEARED, NOT_COPIED, Fault
from .group_logic import GroupLogic
from .machine import Machine
from .table import Table

Change = tuple[float, tuple[int, ...]]
"""When the bank changed, and the byte that it shows from then on, most significant bit first."""


class FirstBank(Protocol):
    """The latches that hear."""

    def latches_at(self, time_s: float) -> tuple[int, ...]:
        """Which are in."""


def copies(
    lines: dict[str, list[Closure]],
    machine: Machine,
    table: Table,
    first: FirstBank,
    logic: GroupLogic,
    faults: list[Fault],
) -> list[Change]:
    """What the bank shows, in the order of the tape; what went wrong is added to ``faults``."""
    copying, releasing = table.acting("copy")[0], table.acting("release")[0]
    moves = sorted(
        [(closure.touch_s, True, closure) for closure in lines[copying.name]]
        + [(closure.touch_s, False, closure) for closure in lines[releasing.name]],
        key=lambda move: move[0],
    )
    comes_in = max(latch.operate_s for latch in machine.bank)
    lets_go = max(latch.release_s for latch in machine.bank)
    shown = (0,) * len(machine.bank)
    changes: list[Change] = []
    for _, copied, closure in moves:
        if copied:
            have = closure.leave_s - closure.solid_s
            if have < comes_in:
                text = f"the copying pulse lasted {1e3 * have:.1f} ms, {1e3 * comes_in:.1f} needed"
                faults.append(Fault(closure.touch_s, NOT_COPIED, text, "copy"))
                continue
            # What is held already stays: a bank that was not released shows both bytes at once.
            heard = logic.bits(first.latches_at(closure.leave_s - comes_in))
            shown = tuple(held | bit for held, bit in zip(shown, heard, strict=True))
            changes.append((closure.solid_s + comes_in, shown))
        else:
            have = closure.leave_s - closure.touch_s
            if have < lets_go:
                text = f"the bank's holding circuit was open {1e3 * have:.1f} ms, {1e3 * lets_go:.1f} needed"
                faults.append(Fault(closure.touch_s, NOT_CLEARED, text, "clear"))
                continue
            shown = (0,) * len(machine.bank)
            changes.append((closure.touch_s + lets_go, shown))
    return changes
