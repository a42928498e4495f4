"""Ring paths: the margins of the input relays, the ring and the bit latches, in one corner."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from .corner import Corner
from .edges import Edges, Stays, pattern_bits
from .line_paths import CornerOf
from .machine import Machine
from .margin import GUARD_S, Margin
from .table import Table


def repeats_once(clock: Edges, at: dict[str, Machine], corner: CornerOf) -> Margin:
    """A bounce too short for the repeater to come in by itself, or to let go in."""
    fast = at["fast"].repeater
    assert fast is not None  # the caller has asked
    bouncing = float((clock.solid_s - clock.touch_s).max())
    return Margin("bounce", "repeater", bouncing, max(fast.operate_s, fast.leave_s), corner(("repeater", "fast")))


def repeated(clock: Edges, kind: str, at: dict[str, Machine]) -> Edges:
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


def ring_margins(clock: Edges, at: dict[str, Machine], table: Table, corner: CornerOf) -> Iterator[Margin]:
    """Time for each step relay while the clock is closed, and for each arming relay while it is open."""
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


def mark_margins(
    clock: Edges, at: dict[str, Machine], table: Table, corner: CornerOf, least_bounce_s: float
) -> Iterator[Margin]:
    """An ordinary clock is over before the slow relay takes it for a mark; a mark leaves time to set step 1.

    Args:
        least_bounce_s: of the clock contact, which interrupts what the slow relay times.
    """
    fast_reset, slow_reset = at["fast"].reset_s, at["slow"].reset_s
    if fast_reset is None or slow_reset is None:
        return
    steps = np.arange(clock.touch_s.size) % table.steps
    longest = float((clock.leave_s - clock.touch_s)[steps > 0].max(initial=0.0)) - least_bounce_s + GUARD_S
    yield Margin("mark", "reset relay", longest, fast_reset, corner(("reset", "fast"), ("clock", "lasting")))
    need = slow_reset + at["slow"].steps[0].operate_s
    have = float((clock.leave_s - clock.solid_s)[steps == 0].min()) - GUARD_S
    yield Margin("recover", "step 1", need, have, corner(("reset", "slow")))


def _pattern_bits(
    table: Table, least_first: bool, stream: int
) -> tuple[NDArray[np.bool_], NDArray[np.int64], NDArray[np.int64]]:
    """Of each bit of the pattern as heard: whether it is a one, its place among the clocks, its number in its group.

    Args:
        stream: which of the bits of each step.
    """
    width = table.bits_a_step
    bits = pattern_bits(table.group_bits, width)
    bits = bits[:, ::-1] if least_first else bits
    numbers = np.arange(stream, table.group_bits, width)
    steps = np.array(table.bit_steps)[numbers // width] - 1
    places = table.steps * np.arange(len(bits))[:, None] + steps
    return bits[:, numbers].ravel() == 1, places.ravel(), np.tile(numbers, len(bits))


def latch_margins(
    clock: Edges, data: Stays, at: dict[str, Machine], table: Table, least_first: bool, corner: Corner, stream: int = 0
) -> Iterator[Margin]:
    """Data and clock closed together for a one; ``stream`` says which of the bits of a step."""
    ones, places, numbers = _pattern_bits(table, least_first, stream)
    first = np.maximum(clock.solid_s[places][:, None], data.solid_s)
    last = np.minimum(clock.leave_s[places][:, None], data.leave_s)
    together = (last - first).max(axis=1, initial=-1.0)
    for bit in np.unique(numbers[ones]):
        have = float(together[ones & (numbers == bit)].min()) - GUARD_S
        yield Margin("latch", f"bit {bit + 1}", at["slow"].latches[bit].operate_s, have, corner)


def spill_margins(
    clock: Edges, data: Stays, at: dict[str, Machine], table: Table, least_first: bool, corner: Corner, stream: int = 0
) -> Iterator[Margin]:
    """Data and clock apart, or together too briefly to latch, for a zero."""
    ones, places, numbers = _pattern_bits(table, least_first, stream)
    # For each clock of a zero, how long any data contact is closed with it; negative: how far apart they are.
    first = np.maximum(clock.touch_s[places][:, None], data.touch_s)
    last = np.minimum(clock.leave_s[places][:, None], data.leave_s)
    common = (last - first).max(axis=1, initial=-1.0)
    for bit in np.unique(numbers[~ones]):
        stolen = float(common[~ones & (numbers == bit)].max()) + GUARD_S
        yield Margin("spill", f"bit {bit + 1}", stolen, at["fast"].latches[bit].operate_s, corner)
