"""Fitting: a table made to the groups that a stack sends.

A table is written for a byte of eight bits, one a step. A stack whose layers add bits (a parity bit: nine) or whose
line code says two bits a step (four steps) needs the same wiring with more or fewer bit steps: the steps after them
move along, and lines held in both keep what lies between. What a line does *during* the bit steps stays where it is.

A layer that checks each group gets its alarm: a relay fed in the first step after the bits through the chain of latch
contacts, before anything is written.
"""

from __future__ import annotations

from dataclasses import replace

from ...contracts.codec import Codec
from ...contracts.errors import UsageError
from ...contracts.keying import KeyedLineCode
from ...contracts.layer import Layer
from ...contracts.relay_cost import BYTE_BITS, AlarmingLayer, RelayLayer, RelayLineCode
from .table import Line, Table

ALARM = "alarm"
"""Name and action of the line that a checking layer gets."""


def group_layers(codec: Codec) -> tuple[Layer, ...]:
    """The layers that are networks of latch contacts, outermost first; the others see the load as a whole."""
    return tuple(layer for layer in codec.layers if _widens(layer))


def load_layers(codec: Codec) -> tuple[Layer, ...]:
    """The layers that see the load as a whole, outermost first."""
    return tuple(layer for layer in codec.layers if not _widens(layer))


def _widens(layer: Layer) -> bool:
    return isinstance(layer, RelayLayer) and layer.bits_in_group(BYTE_BITS) != BYTE_BITS


def fitted(table: Table, codec: Codec) -> Table:
    """``table`` for the groups of ``codec``, which relays can decode.

    Raises:
        UsageError: a line acts in a bit step that this group does not have, or an alarm has no step before the write.
    """
    code = codec.line_code
    assert isinstance(code, RelayLineCode)  # the receiver has refused others
    assert isinstance(code, KeyedLineCode)
    layers, bits, steps = group_layers(codec), code.group_bits, code.keying().data_steps
    if steps == len(table.bit_steps) == bits and not layers:
        return replace(table, load_layers=load_layers(codec))
    if list(table.bit_steps) != list(range(1, BYTE_BITS + 1)):
        raise UsageError(f"relays: the bit steps of table '{table.name}' must be its first, as on the tape.")
    lines = tuple(replace(line, steps=_moved(line, steps, table.name)) for line in table.lines)
    if any(isinstance(layer, AlarmingLayer) for layer in layers):
        lines = (*lines, _alarm(lines, steps, table))
    return replace(
        table,
        steps=table.steps + steps - BYTE_BITS,
        bit_steps=tuple(range(1, steps + 1)),
        lines=lines,
        group_bits=bits,
        bits_a_step=-(-bits // steps),
        group_layers=layers,
        load_layers=load_layers(codec),
    )


def _moved(line: Line, bit_steps: int, table: str) -> tuple[int, ...]:
    early = [step for step in line.steps if step <= BYTE_BITS]
    late = [step + bit_steps - BYTE_BITS for step in line.steps if step > BYTE_BITS]
    if early and max(early) > bit_steps:
        raise UsageError(
            f"relays: table '{table}' holds '{line.name}' in bit step {max(early)}, and a group of this code has only "
            f"{bit_steps}."
        )
    through = BYTE_BITS in line.steps and BYTE_BITS + 1 in line.steps
    between = range(BYTE_BITS + 1, bit_steps + 1) if through else ()
    return (*early, *between, *late)


def _alarm(lines: tuple[Line, ...], bit_steps: int, table: Table) -> Line:
    name = ALARM
    while any(line.name == name for line in lines):
        name = f"layer's {name}"
    step = bit_steps + 1
    # Where a second bank is filled, it is written from only in the bit steps of the next group.
    writing = next(line for line in lines if line.action == "write")
    if step > table.steps + bit_steps - BYTE_BITS or (not table.overlapped and min(writing.steps) <= step):
        raise UsageError(
            f"relays: table '{table.name}' needs a step between the last bit and '{writing.name}' for the alarm."
        )
    return Line(name, ALARM, (step,), "clock", "", (), ())
