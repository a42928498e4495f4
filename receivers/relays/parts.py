"""Parts: what must be bought, what it draws, and how long it lasts.

Counted from the wiring of ``sequencer`` and ``memory``, with the poles that each relay needs; a relay with too few is
doubled. Memory cells belong to the machine that is loaded and are not counted.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from ...contracts.keying import Keying
from ...contracts.relay_cost import LatchLayer, RelayLayer, repeated_bits
from .machine import load_a
from .relay_set import RelaySet
from .relay_type import RelayType
from .table import BITS, Table

STEP_POLES, ARM_POLES, LATCH_POLES, RESET_POLES, COUNTER_POLES, FILLED_POLES = 2, 3, 2, 2, 4, 3
"""Step: holds itself, feeds its arming relay (and its lines besides). Arm: holds itself, drops the step before, feeds
the next step with its pulses. Latch: holds itself, shows its bit. Reset: opens the holding circuit, sets step 1.
Counter: each of the two relays of a bit's two-phase toggle (common practice). Filled: holds itself from the first copy
to the second bank on, lets write and count pass. Each latch of the second bank is fed through a diode or a pole of its
own, or one that is held would feed its neighbours backwards."""

ALARM_POLES = 3
"""An alarm relay holds itself, opens the feed that it stops, lights a lamp."""


@dataclass(frozen=True, slots=True)
class RelayCount:
    """Relays for one purpose.

    Attributes:
        purpose: what for.
        kind: title of the relay type.
        poles: poles of the relay.
        count: how many.
        operations_a_byte: of the busiest of them.
    """

    purpose: str
    kind: str
    poles: int
    count: int
    operations_a_byte: float


@dataclass(frozen=True, slots=True)
class Parts:
    """The whole list.

    Attributes:
        relays: by purpose.
        isolating_diodes, clamp_diodes, zeners, rectifier_diodes: by purpose.
        capacitors: reservoirs, and the slow relay's; those of tone filters are counted with them.
        tone_filters: a tuned circuit and a second amplifier each.
        step_currents_a: drawn from the supply in each step, all latches in; index 0 for step 1.
        peak_a: the most at once, at the highest supply and the least resistance.
        steps_a_byte, seconds_a_byte: pace of the code.
    """

    relays: tuple[RelayCount, ...]
    isolating_diodes: int
    clamp_diodes: int
    zeners: int
    rectifier_diodes: int
    capacitors: int
    tone_filters: int
    step_currents_a: tuple[float, ...]
    peak_a: float
    steps_a_byte: int
    seconds_a_byte: float
    mechanical_operations: float

    @property
    def relay_count(self) -> int:
        """All relays."""
        return sum(entry.count for entry in self.relays)

    @property
    def by_poles(self) -> dict[int, int]:
        """How many relays of each number of poles."""
        return {
            poles: sum(entry.count for entry in self.relays if entry.poles == poles)
            for poles in sorted({entry.poles for entry in self.relays})
        }

    def operations_a_load(self, payload_bytes: int) -> float:
        """Operations of the busiest relay while loading that many bytes."""
        return payload_bytes * max(entry.operations_a_byte for entry in self.relays)

    def loads_of_life(self, payload_bytes: int) -> float:
        """Loads until the busiest relay has reached its rated mechanical life."""
        return self.mechanical_operations / max(self.operations_a_load(payload_bytes), 1.0)


def life_days(operations: float, operations_a_second: float) -> float:
    """How long a rated life lasts.

    >>> round(life_days(1e7, 5), 3)
    23.148
    """
    return operations / operations_a_second / 86_400


def parts(relays: RelaySet, table: Table, keying: Keying) -> Parts:
    """The parts of a machine for a code.

    Args:
        table: fitted to the stack, whose layers are counted with it.
    """
    steps, bits = table.steps, table.group_bits
    step_lines = {n: [line for line in table.lines if line.when == "step" and n in line.steps] for n in _all(table)}
    pulse_lines = {n: [line for line in table.lines if line.when == "clock" and n in line.steps] for n in _all(table)}
    by_pole = table.isolation == "poles"
    counts = _inputs(relays, table, keying)
    if relays.clock.form == "make":
        counts.append(_count("clock repeater", relays.logic, 2, 1, steps))
    poles = max(STEP_POLES + (len(lines) if by_pole else bool(lines)) for lines in step_lines.values())
    counts.append(_count("step", relays.logic, poles, steps, 1))
    poles = max(ARM_POLES + (len(lines) if by_pole else 0) for lines in pulse_lines.values())
    mark_alarm = keying.mark_s is not None and bool(table.acting("alarm"))
    counts.append(_count("arm", relays.logic, poles, steps - mark_alarm, 1))
    if mark_alarm:
        counts.append(_count("last arm", relays.logic, poles + 1, 1, 1))
    latch_poles = (
        LATCH_POLES + _network_poles(table) + (table.comparator and not (table.overlapped or table.group_layers))
    )
    counts.append(_count("bit latch", relays.latch, latch_poles, bits, 1))
    if table.overlapped:
        counts.append(_count("second bank", relays.latch, LATCH_POLES + table.comparator, BITS, 1))
        counts.append(_count("second bank filled", relays.logic, FILLED_POLES, 1, 0))
    if keying.mark_s is not None:
        counts.append(_count("reset mark", relays.logic, RESET_POLES + mark_alarm, 1, 1))
    for line in table.lines:
        width = {"address": table.address_bits, "data": BITS}.get(line.bus, 1)
        if line.action == "copy" and by_pole:
            width = BITS
        if line.action == "alarm":
            counts.append(_count(f"line '{line.name}'", relays.logic, ALARM_POLES, 1, 0))
            continue
        counts.append(_count(f"line '{line.name}'", relays.logic, width, 1, len(line.steps)))
    counts.append(_count("address counter", relays.logic, COUNTER_POLES, 2 * table.address_bits, 1))
    counts += _of_layers(relays, table)
    if table.comparator:
        # A changeover of each bit shown against one of a relay that repeats its cell.
        if table.group_layers and not table.overlapped:
            counts.append(_count("shown bit", relays.logic, 1, BITS, 1))
        counts.append(_count("read bit", relays.logic, 1, BITS, 1))
        counts.append(_count("verify alarm", relays.logic, ALARM_POLES, 1, 0))
    coils = sum(entry.count for entry in counts)
    on_front_ends = sum(entry.count for entry in counts if entry.purpose.endswith("input"))
    clamped = coils - on_front_ends if relays.clamp.kind.startswith("diode") else 0
    latches = bits + (BITS if table.overlapped else 0)
    isolating = sum(len(line.steps) for line in table.lines) + latches if table.isolation == "diodes" else 0
    a_track = {"half": 1, "centre_tap": 2, "bridge": 4}[relays.front_end.rectifier] + relays.front_end.freewheel_diode
    has_reservoir = relays.front_end.reservoir_f > 0
    filters = 2 * len(keying.more_tones_hz)
    return Parts(
        relays=tuple(counts),
        isolating_diodes=isolating,
        clamp_diodes=clamped,
        zeners=clamped if relays.clamp.kind == "diode_zener" else 0,
        rectifier_diodes=on_front_ends * a_track,
        capacitors=on_front_ends * has_reservoir + filters + (keying.mark_s is not None),
        tone_filters=filters,
        step_currents_a=tuple(_current_a(n, relays, table) for n in _all(table)),
        peak_a=load_a(relays, table),
        steps_a_byte=keying.steps_a_byte,
        seconds_a_byte=keying.seconds_a_byte,
        mechanical_operations=min(relays.clock.mechanical_operations, relays.logic.mechanical_operations),
    )


def _inputs(relays: RelaySet, table: Table, keying: Keying) -> list[RelayCount]:
    if "clock" in keying.roles:
        # The clock relay's make and break contact, and the slow relay's feed; the data relay's one contact.
        return [
            _count("clock input", relays.clock, 2, 1, table.steps),
            _count("data input", relays.clock, 1, 1, len(table.bit_steps)),
        ]
    # Make contacts in parallel, break contacts in series; a third of the one rail is the bit.
    return [
        _count("zero input", relays.clock, 2, 1, table.steps),
        _count("one input", relays.clock, 3, 1, table.steps),
        *(
            _count(f"{rail} {tone_hz:g} Hz input", relays.clock, 1, 1, len(table.bit_steps))
            for tone_hz in keying.more_tones_hz
            for rail in ("zero", "one")
        ),
    ]


def _network_poles(table: Table) -> int:
    """Contacts of each latch in the network of the innermost layer; the others read repeated bits."""
    innermost = table.group_layers[-1] if table.group_layers else None
    return innermost.latch_poles if isinstance(innermost, LatchLayer) else 0


def _of_layers(relays: RelaySet, table: Table) -> list[RelayCount]:
    """Relays that repeat a bit between two networks, and the counters of layers that see the load as a whole."""
    counts = []
    for reader, bits in repeated_bits(table.group_layers):
        poles = 1 + (reader.latch_poles if isinstance(reader, LatchLayer) else 0)
        counts.append(_count("repeated bit", relays.logic, poles, bits, 1))
    for layer in table.load_layers:
        cost = layer.relay_cost() if isinstance(layer, RelayLayer) else None
        if cost is not None and cost.relays:
            fewest, further = divmod(cost.poles, cost.relays)
            for poles, units in ((fewest + 1, further), (fewest, cost.relays - further)):
                if units:
                    counts.append(_count(layer.name, relays.logic, poles, units, BITS))
    return counts


def _all(table: Table) -> range:
    return range(1, table.steps + 1)


def _count(purpose: str, kind: RelayType, poles: int, units: int, operations: float) -> RelayCount:
    return RelayCount(purpose, kind.title, kind.poles, units * math.ceil(poles / kind.poles), operations)


def _current_a(step: int, relays: RelaySet, table: Table) -> float:
    """Step and arming relay, the lines held, and every latch: bits are not known beforehand."""
    held = sum(step in table.live_steps(line) for line in table.lines)
    share = relays.supply.voltage_v / relays.logic.coil_v
    latches = table.group_bits + (BITS if table.overlapped else 0)
    return share * ((2 + held + table.overlapped) * relays.logic.coil_a + latches * relays.latch.coil_a)
