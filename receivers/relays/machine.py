"""Machine: one built copy of a set and a table: every relay with its own figures, at one supply and temperature.

``place(role, quantity)`` says where each figure stands between its limits (-1 least, 0 typical, 1 most). Drawn from a
generator it is one machine of many; fixed by hand it is a corner.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from ...contracts.keying import Keying
from .coil import Coil
from .front_end import Armature, FrontEnd
from .relay_set import RelaySet
from .relay_type import RelayType, Switched
from .spread import TRUNCATED_AT_SD
from .table import BITS, Table
from .tone_filter import ToneFilter

Place = Callable[[str, str], float]

EVEN = ("voltage", "temperature", "sag")
"""Quantities that may stand anywhere between their limits; the rest cluster about the typical."""


def input_roles(keying: Keying) -> tuple[str, str]:
    """The roles of the input relays: clock and data, or the zero and the one rail.

    Rails have no clock of their own: either contact closed is the clock, and the one contact the bit.
    """
    return ("clock", "data") if "clock" in keying.roles else ("zero", "one")


@dataclass(frozen=True, slots=True)
class Input:
    """The relay at one front end, and what drives it: the track's sound, or what of it a filter lets through."""

    front_end: FrontEnd
    coil: Coil
    armature: Armature
    bounce_s: float
    tone_filter: ToneFilter | None = None


@dataclass(frozen=True, slots=True)
class Machine:
    """One machine.

    Attributes:
        clock, data: the relays at the front ends; with rails, of the zero and of the one.
        repeater: repeats a clock relay that has no break contact; None where it has one.
        steps, arms: the two relays of each step, index 0 for step 1: the first comes in while the clock contact is
            closed, the second, which lets the next step come, while it is open.
        lines: of each line by name.
        latches: of each bit, in the order heard.
        bank: the second bank of latches, of each bit of a byte; empty where a table has none.
        reset_s: delay of the slow relay that tells a reset mark from a clock; None without marks.
        counter, cell: slowest relay of the address counter, and of a memory cell.
        bounces: the input relays' closings bounce for a ``drawn`` part of their longest, for all of it (``longest``)
            or for the least part (``shortest``).
        tones: the relays that a second tone moves, of the first and the second input role; empty with one tone.
    """

    clock: Input
    data: Input
    repeater: Switched | None
    steps: tuple[Switched, ...]
    arms: tuple[Switched, ...]
    lines: dict[str, Switched]
    latches: tuple[Switched, ...]
    reset_s: float | None
    counter: Switched
    cell: Switched
    bounces: str = "drawn"
    bank: tuple[Switched, ...] = ()
    tones: tuple[Input, ...] = ()


def random_place(rng: np.random.Generator) -> Place:
    """Places of one machine of many."""

    def place(role: str, quantity: str) -> float:
        if quantity in EVEN:
            return float(rng.uniform(-1.0, 1.0))
        deviate = float(rng.normal())
        while abs(deviate) > TRUNCATED_AT_SD:
            deviate = float(rng.normal())
        return deviate / TRUNCATED_AT_SD

    return place


def build(relays: RelaySet, table: Table, keying: Keying, place: Place, bounces: str = "drawn") -> Machine:
    """The machine whose figures stand at ``place``."""
    hot = 0.5 * (1 + place("windings", "temperature"))
    celsius = relays.coldest_c + hot * (relays.hottest_c - relays.coldest_c)
    rail_v = relays.supply.voltage_v * (1 + relays.supply.tolerance * place("supply", "voltage"))
    sag = 0.5 * (1 + place("supply", "sag"))
    feed_v = rail_v - sag * relays.supply.resistance_ohm * load_a(relays, table)
    worn = relays.worn

    def switched(kind: RelayType, role: str, contacts: int, diodes: int = 0) -> Switched:
        relay = kind.relay(lambda quantity: place(role, quantity), worn)
        drop = contacts * relays.logic.contact_ohm * (1 + worn) * kind.coil_a + diodes * relays.supply.diode_v
        return relay.switched(feed_v - drop, celsius, relays.clamp)

    def listening(role: str, amplified: FrontEnd, tone_hz: float) -> Input:
        relay = relays.clock.relay(lambda quantity: place(role, quantity), worn)
        tolerance = relays.reservoir * place(role, "reservoir")
        circuit = replace(amplified.at_tone(tone_hz), reservoir_f=amplified.reservoir_f * (1 + tolerance))
        if circuit.driver == "transistor":
            circuit = replace(circuit, supply_v=feed_v)
        return Input(circuit, relay.coil(celsius), relay.armature, relay.bounce_s)

    def listening_to_tone(role: str, tone_hz: float) -> Input:
        kind = relays.tone_filter
        assert kind is not None  # the receiver has refused sets without
        plain = listening(f"{role} tone", replace(relays.front_end, gain_v=kind.gain), tone_hz)
        centre_hz = tone_hz * (1 + kind.tuning * place(f"{role} tone", "tuning"))
        limiter = relays.front_end
        tuned = ToneFilter(centre_hz, kind.quality, limiter.gain_v, limiter.clip_v)
        return replace(plain, tone_filter=tuned)

    isolating = 1 if table.isolation == "diodes" else 0
    bits = range(1, table.group_bits + 1)

    def line(name: str) -> Switched:
        wired = table.line(name)
        # Until the first copy a relay keeps write and count apart from their steps.
        gated = table.overlapped and wired.action in ("write", "count")
        chain = table.group_bits if wired.action == "alarm" else 0
        return switched(relays.logic, name, 2 + len(wired.through) + gated + chain, isolating)

    roles = input_roles(keying)
    # A relay that hears two tones must follow the one of which more is lost.
    highest_hz = max((keying.tone_hz, *keying.more_tones_hz))
    clock, data = (listening(role, relays.front_end, highest_hz) for role in roles)
    return Machine(
        clock=clock,
        data=data,
        repeater=switched(relays.logic, "repeater", 1) if relays.clock.form == "make" else None,
        steps=tuple(switched(relays.logic, f"step {n}", 2) for n in range(1, table.steps + 1)),
        arms=tuple(switched(relays.logic, f"arm {n}", 2) for n in range(1, table.steps + 1)),
        lines={wired.name: line(wired.name) for wired in table.lines},
        latches=tuple(switched(relays.latch, f"bit {n}", 3) for n in bits),
        reset_s=reset_delay_s(relays, keying, place),
        counter=switched(relays.logic, "counter", 2),
        cell=switched(relays.latch, "memory cell", 3),
        bounces=bounces,
        bank=tuple(switched(relays.latch, f"bank {n}", 3, isolating) for n in range(1, BITS + 1))
        if table.overlapped
        else (),
        tones=tuple(listening_to_tone(role, tone_hz) for tone_hz in keying.more_tones_hz for role in roles),
    )


def reset_delay_s(relays: RelaySet, keying: Keying, place: Place) -> float | None:
    """What the slow relay that detects reset marks is lined up to, its tolerance included; None without marks."""
    if keying.mark_s is None:
        return None
    nominal = keying.clock_burst_s + relays.reset_share * (keying.mark_s - keying.clock_burst_s)
    return nominal * (1 + relays.reset * place("reset", "delay"))


def load_a(relays: RelaySet, table: Table) -> float:
    """The most that the supply's coils draw at once: full latches, a handover between steps, all lines of a step."""
    hottest_draw = (1 + relays.supply.tolerance) * relays.supply.voltage_v / relays.logic.coil_v
    together = max(sum(step in table.live_steps(line) for line in table.lines) for step in range(1, table.steps + 1))
    # Two step relays and two arming relays at a handover, the address counter and the reset relay.
    sequencing = 4 + 2 * table.address_bits + 1
    coils = (together + sequencing) / relays.logic.resistance_ohm.low * relays.logic.coil_v
    held = table.group_bits + (BITS if table.overlapped else 0)
    latches = held / relays.latch.resistance_ohm.low * relays.latch.coil_v
    return (coils + latches) * hottest_draw
