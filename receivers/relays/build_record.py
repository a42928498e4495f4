"""Build record: what there is to build for one code, as plain data for a page.

Parts and currents are counted and computed from the set and the table; times and volts come from the front-end
simulation. What the set gives as typical stays typical.
"""

from __future__ import annotations

import math
from dataclasses import asdict
from itertools import product
from typing import Any

from ...contracts.keying import KeyedLineCode, Keying
from ...contracts.relay_cost import RelayLayer
from .corner import Surroundings, everywhere
from .machine import Input, build, reset_delay_s
from .margin import GUARD_S
from .one_byte import one_byte
from .parts import parts
from .relay_set import RelaySet
from .relay_type import RelayType
from .reservoir import largest_reservoir_f, release_s
from .spread import Spread
from .suitability import highest_tone_hz, steady_current_a
from .table import Table
from .timing_record import timing_record

FUSES_A = tuple(
    value * scale for scale in (0.1, 1.0, 10.0) for value in (1.0, 1.25, 1.6, 2.0, 2.5, 3.15, 4.0, 5.0, 6.3, 8.0)
)
"""Preferred ratings of miniature fuse-links, from the R10 series (IEC 60127, from memory)."""

FUSE_SHARE = 1.5
"""A fuse is rated at least this many times the current that flows for long (common practice: 1.35 to 2)."""


def build_record(code: KeyedLineCode, relays: RelaySet, table: Table, payload_bytes: int) -> dict[str, Any]:
    """Everything about the hardware that a build sheet shows.

    Raises:
        UsageError: a code that the machine cannot follow, or a program longer than its address space.
    """
    table.check_program(payload_bytes)
    timed = timing_record(code, relays, table)
    keying = code.keying()
    return {
        "timing": timed,
        "keying": keying_record(keying),
        "byte": one_byte(code, relays, table),
        "parts": _parts(relays, table, keying, payload_bytes),
        "checks": _checks(table),
        "coils": [_coil(role, kind, relays) for role, kind in _kinds(relays)],
        "supply": _supply(relays, table, keying),
        "front_end": _front_end(relays, table, keying, timed),
        "line_up": _line_up(relays, table, keying),
        "tape": {
            "speed_percent": 100 * relays.tape.speed,
            "skew_ms": 1e3 * relays.tape.skew_s,
            "quietest_db": relays.tape.quietest_db,
            "loudest_db": relays.tape.loudest_db,
        },
        "windings_c": [relays.coldest_c, relays.hottest_c],
    }


def keying_record(keying: Keying) -> dict[str, Any]:
    """What stands on the tape, in milliseconds."""
    return {
        "tones_hz": [keying.tone_hz, *keying.more_tones_hz],
        "roles": {"left": keying.roles[0], "right": keying.roles[1]},
        "step_ms": 1e3 * keying.step_s,
        "clock_burst_ms": 1e3 * keying.clock_burst_s,
        "data_burst_ms": 1e3 * keying.data_burst_s,
        "lead_ms": 1e3 * keying.lead_s,
        "silence_ms": 1e3 * (keying.step_s - keying.clock_burst_s),
        "mark_ms": None if keying.mark_s is None else 1e3 * keying.mark_s,
        "mark_extra_ms": 1e3 * keying.mark_extra_s,
        "end_mark_ms": None if keying.end_mark_s is None else 1e3 * keying.end_mark_s,
        "line_up_s": keying.line_up_s,
        "first_step_s": keying.first_step_s,
        "data_steps": keying.data_steps,
        "extra_steps": keying.extra_steps,
        "least_significant_first": keying.least_significant_first,
        "byte_ms": 1e3 * keying.seconds_a_byte,
    }


def _kinds(relays: RelaySet) -> list[tuple[str, RelayType]]:
    kinds = [("input", relays.clock), ("logic", relays.logic)]
    return kinds if relays.latch is relays.logic else [*kinds, ("latch", relays.latch)]


def _parts(relays: RelaySet, table: Table, keying: Keying, payload_bytes: int) -> dict[str, Any]:
    counted = parts(relays, table, keying)
    return {
        **asdict(counted),
        "relay_count": counted.relay_count,
        "by_poles": counted.by_poles,
        "operations_a_load": counted.operations_a_load(payload_bytes),
        "loads_of_life": counted.loads_of_life(payload_bytes),
    }


def _coil(role: str, kind: RelayType, relays: RelaySet) -> dict[str, Any]:
    """Figures of one kind of relay; power and kick at the most that the supply can give, into a cold winding."""
    switched = role != "input" or relays.front_end.driver == "transistor"
    highest_v = relays.supply.voltage_v * (1 + relays.supply.tolerance)
    most_v = highest_v if switched else relays.front_end.peak_v
    clamp = relays.front_end.clamp if role == "input" else relays.clamp
    most_a = most_v / kind.resistance_ohm.low
    return {
        "role": role,
        "kind": kind.title,
        "coil_v": kind.coil_v,
        "ohm": _three(kind.resistance_ohm),
        "rated_ma": 1e3 * kind.coil_a,
        "most_v": most_v,
        "most_ma": 1e3 * most_a,
        "most_w": most_v * most_a,
        "pick_up_v": _three(kind.pick_up.scaled(kind.coil_v)),
        "drop_out_v": _three(kind.drop_out.scaled(kind.coil_v)),
        "operate_ms": _three(kind.operate_s.scaled(1e3)),
        "release_ms": _three(kind.release_s.scaled(1e3)),
        "bounce_ms": _three(kind.bounce_s.scaled(1e3)),
        "poles": kind.poles,
        "form": kind.form,
        "mechanical_operations": kind.mechanical_operations,
        "electrical_operations": kind.electrical_operations,
        "clamp": _clamp(clamp.kind, clamp.zener_v, clamp.resistor_ohm) if switched else None,
        "clamped": clamp.kind != "none" if switched else None,
        "kick_v": clamp.kick_v(most_a) if switched else None,
        "across_switch_v": highest_v + clamp.kick_v(most_a) if switched else None,
    }


def _clamp(kind: str, zener_v: float, resistor_ohm: float) -> str:
    return {
        "none": "none",
        "diode": "diode",
        "diode_zener": f"diode and {zener_v:g} V zener",
        "resistor": f"{resistor_ohm:g} ohm resistor",
    }[kind]


def _three(spread: Spread) -> list[float]:
    return [spread.low, spread.typical, spread.high]


def _supply(relays: RelaySet, table: Table, keying: Keying) -> dict[str, Any]:
    peak_a = parts(relays, table, keying).peak_a
    fuse = next((rating for rating in FUSES_A if rating >= FUSE_SHARE * peak_a), None)
    return {
        "voltage_v": relays.supply.voltage_v,
        "tolerance_percent": 100 * relays.supply.tolerance,
        "highest_v": relays.supply.voltage_v * (1 + relays.supply.tolerance),
        "resistance_ohm": relays.supply.resistance_ohm,
        "diode_v": relays.supply.diode_v,
        "peak_a": peak_a,
        "fuse_a": fuse,
        "fuse_share": FUSE_SHARE,
    }


def _front_end(relays: RelaySet, table: Table, keying: Keying, timed: dict[str, Any]) -> dict[str, Any]:
    front_end = relays.front_end
    in_hand_s, largest_f = _largest_reservoir(relays, table, keying, timed)
    typical = build(relays, table, keying, lambda role, quantity: 0.0).clock
    least_a, mean_a = steady_current_a(front_end, typical.coil.resistance_ohm, relays, keying.tone_hz)
    highest_hz = highest_tone_hz(relays)
    return {
        "driver": front_end.driver,
        "gain_v": front_end.gain_v,
        "clip_v": front_end.clip_v,
        "output_ohm": front_end.output_ohm,
        "transformer_ratio": front_end.transformer_ratio,
        "winding_ohm": front_end.winding_ohm,
        "rectifier": front_end.rectifier,
        "diode_v": front_end.diode_v,
        "drop_v": front_end.drop_v,
        "freewheel_diode": front_end.freewheel_diode,
        "peak_v": front_end.peak_v,
        "reservoir_uf": 1e6 * front_end.reservoir_f,
        "reservoir_percent": 100 * relays.reservoir,
        "bleed_ohm": front_end.bleed_ohm if front_end.driver == "transistor" else None,
        "threshold_v": front_end.threshold_v if front_end.driver == "transistor" else None,
        "tone_filter": _tone_filter(relays, keying),
        "recovery_us": 1e6 * front_end.recovery_s,
        "leakage_mh": 1e3 * front_end.leakage_h,
        "top_tone_hz": None if highest_hz is None else _finite(highest_hz),
        "largest_reservoir_uf": None if largest_f is None else 1e6 * largest_f,
        "release_within_ms": 1e3 * in_hand_s,
        "release_ms": _finite(1e3 * _release_s(typical, keying)),
        "quietest_mean_ma": 1e3 * mean_a,
        "quietest_least_ma": 1e3 * least_a,
        "pick_up_ma": 1e3 * typical.coil.pick_up_a,
        "drop_out_ma": 1e3 * typical.coil.drop_out_a,
    }


def _tone_filter(relays: RelaySet, keying: Keying) -> dict[str, Any] | None:
    """The tuned circuit before the relays of a second tone; None for a code of one."""
    kind = relays.tone_filter
    if kind is None or not keying.more_tones_hz:
        return None
    tone_hz = keying.more_tones_hz[0]
    return {
        "tone_hz": tone_hz,
        "quality": kind.quality,
        "tuning_percent": 100 * kind.tuning,
        "gain": kind.gain,
        "inductance_mh": 1e3 * kind.inductance_h,
        "capacitance_nf": 1e9 * kind.capacitance_f(tone_hz),
        "resistance_ohm": kind.resistance_ohm(tone_hz),
    }


def _checks(table: Table) -> list[dict[str, Any]]:
    """What each layer for relays notices or mends, and what passes it."""
    return [
        {"layer": layer.name, "catches": list(cost.catches), "misses": list(cost.misses)}
        for layer in (*table.group_layers, *table.load_layers)
        if isinstance(layer, RelayLayer) and (cost := layer.relay_cost())
    ]


def _release_s(listening: Input, keying: Keying) -> float:
    return release_s(
        listening.front_end, listening.coil, listening.armature, keying.tone_hz, _burst_s(keying.clock_burst_s)
    )


def _burst_s(burst_s: float) -> float:
    return max(burst_s, 1e-3)


def _largest_reservoir(
    relays: RelaySet, table: Table, keying: Keying, timed: dict[str, Any]
) -> tuple[float, float | None]:
    """How soon the clock relay must have let go, and the largest nominal capacitor with which the slowest one does.

    A silence on a fast tape, less what the slowest arming relay needs and the bounce of the break contact. The time
    that the relay takes to lift again is not counted: it is to spare.
    """
    arming = [margin["need_ms"] for margin in timed["margins"] if margin["path"] == "arm"]
    needs_s = 1e-3 * max((need for need in arming if need is not None), default=0.0)
    silence_s = (keying.step_s - keying.clock_burst_s) / (1 + relays.tape.speed)
    found: list[float] = []
    within_s = math.inf
    for temperature, resistance in product((-1, 1), (-1, 1)):
        place = everywhere("long", Surroundings(temperature, 1, 1), resistance)
        slowest = build(relays, table, keying, place).clock
        within_s = silence_s - needs_s - slowest.bounce_s - GUARD_S
        farad = largest_reservoir_f(
            slowest.front_end,
            slowest.coil,
            slowest.armature,
            keying.tone_hz,
            _burst_s(keying.clock_burst_s / (1 + relays.tape.speed)),
            within_s,
        )
        if farad is None:
            return within_s, None
        found.append(farad)
    return within_s, min(found) / (1 + relays.reservoir)


def _line_up(relays: RelaySet, table: Table, keying: Keying) -> dict[str, Any]:
    """Volts at the amplifier's output in the line-up tone, and the reset relay's delay."""
    quietest, loudest = (10 ** (level / 20) for level in (relays.tape.quietest_db, relays.tape.loudest_db))
    delay = reset_delay_s(relays, keying, lambda role, quantity: 0.0)
    return {
        "quietest_peak_v": relays.front_end.gain_v * quietest,
        "loudest_peak_v": relays.front_end.gain_v * loudest,
        "window_db": relays.tape.loudest_db - relays.tape.quietest_db,
        "middle_db": 0.5 * (relays.tape.loudest_db + relays.tape.quietest_db),
        "reset_delay_ms": None if delay is None else 1e3 * delay,
        "reset_percent": 100 * relays.reset,
        "reset_share_percent": 100 * relays.reset_share,
    }


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None
