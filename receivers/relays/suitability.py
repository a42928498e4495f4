"""Suitability: why a machine cannot follow a keyed code at all, whatever the step."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ...contracts.keying import Keying
from ...contracts.signal import Signal
from .coil import Coil, copper
from .front_end import Armature, FrontEnd
from .listening import trace
from .relay_set import RelaySet
from .table import Table

RATE_HZ = 44_100
STEADY_TAUS = 8.0
"""A coil is within 0.04 % of its final current after this many of its time constants."""


def reason_against(keying: Keying, relays: RelaySet, table: Table) -> str | None:
    """One line that says why not; None if nothing stands against it."""
    if keying.more_tones_hz:
        return (
            f"relays: set '{relays.name}' has no tone filters: it hears one tone a track, and this code has "
            f"{1 + len(keying.more_tones_hz)}."
        )
    if keying.data_steps != len(table.bit_steps) or keying.steps_a_byte != table.steps:
        return (
            f"relays: table '{table.name}' has {table.steps} steps a byte with {len(table.bit_steps)} bits, and this "
            f"code has {keying.steps_a_byte} with {keying.data_steps}."
        )
    if list(table.bit_steps) != list(range(1, keying.data_steps + 1)):
        return f"relays: the bit steps of table '{table.name}' must be its first, as on the tape."
    if keying.tone_hz > relays.top_tone_hz:
        return (
            f"relays: a tone of {keying.tone_hz:g} Hz is too high for the coil circuit of set '{relays.name}', which "
            f"passes up to {relays.top_tone_hz:g} Hz."
        )
    return reason_against_tone(keying.tone_hz, relays)


def reason_against_tone(tone_hz: float, relays: RelaySet) -> str | None:
    """Whether a steady tone at the quietest level holds the input relay that needs most, hot and without a ripple."""
    needed = relays.clock.pick_up.high * relays.clock.coil_v / relays.clock.resistance_ohm.high
    front_end = replace(relays.front_end, reservoir_f=relays.front_end.reservoir_f * (1 - relays.reservoir))
    ohms = copper(relays.clock.resistance_ohm.high, relays.hottest_c)
    least, mean = steady_current_a(front_end, ohms, relays, tone_hz)
    if mean < needed:
        return (
            f"relays: a steady tone of {tone_hz:g} Hz at the quietest level of set '{relays.name}' gives the input "
            f"coil {1e3 * mean:.3g} mA, and it needs up to {1e3 * needed:.3g}."
        )
    if least < needed:
        return (
            f"relays: a tone of {tone_hz:g} Hz is too low for the reservoir of set '{relays.name}': between its peaks "
            f"the coil current falls to {1e3 * least:.3g} mA, and the relay needs up to {1e3 * needed:.3g}."
        )
    return None


def steady_current_a(front_end: FrontEnd, ohms: float, relays: RelaySet, tone_hz: float) -> tuple[float, float]:
    """Least and mean coil current in a steady tone at the set's quietest level, the armature at rest."""
    henry = relays.clock.released_h
    taus = STEADY_TAUS * max(henry / ohms, front_end.source_ohm * front_end.reservoir_f)
    periods = 4 / tone_hz
    times = np.arange(int((taus + periods) * RATE_HZ)) / RATE_HZ
    sine = 10 ** (relays.tape.quietest_db / 20) * np.sin(2 * np.pi * tone_hz * times)
    out_of_reach = Coil(ohms, henry, henry, 1e6, 1e5)
    current = trace(Signal(sine, RATE_HZ), 0, front_end, out_of_reach, Armature(1.0, 1.0)).current_a
    settled = current[-int(periods * RATE_HZ) :]
    return float(settled.min()), float(settled.mean())
