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
from .tone_filter import FilterKind, ToneFilter

RATE_HZ = 44_100
LOWEST_TONE_HZ = 100.0
"""No keyed code has a lower one."""

STEADY_TAUS = 8.0
"""A coil is within 0.04 % of its final current after this many of its time constants."""


def reason_against(keying: Keying, relays: RelaySet, table: Table) -> str | None:
    """One line that says why not; None if nothing stands against it.

    Args:
        table: fitted to the code's groups.
    """
    tones = (keying.tone_hz, *keying.more_tones_hz)
    if len(tones) > 1 and relays.tone_filter is None:
        return (
            f"relays: set '{relays.name}' has no tone filters: it hears one tone a track, and this code has "
            f"{len(tones)}."
        )
    if len(tones) > 2:
        return f"relays: the filters of set '{relays.name}' tell two tones apart, and this code has {len(tones)}."
    if keying.data_steps != len(table.bit_steps) or keying.steps_a_byte != table.steps:
        return (
            f"relays: table '{table.name}' has {table.steps} steps a byte with {len(table.bit_steps)} bits, and this "
            f"code has {keying.steps_a_byte} with {keying.data_steps}."
        )
    if list(table.bit_steps) != list(range(1, keying.data_steps + 1)):
        return f"relays: the bit steps of table '{table.name}' must be its first, as on the tape."
    for tone_hz in tones:
        against = reason_against_tone(tone_hz, relays)
        if against is not None:
            return against
    return _reason_against_pair(tones[0], tones[1], relays) if len(tones) > 1 else None


def reason_against_tone(tone_hz: float, relays: RelaySet) -> str | None:
    """Whether a steady tone at the quietest level holds the input relay that needs most, hot and without a ripple."""
    needed = _needed_a(relays)
    least, mean = _hardest_current_a(tone_hz, relays)
    if mean < needed:
        highest_hz = highest_tone_hz(relays)
        if highest_hz is not None and tone_hz > highest_hz:
            return (
                f"relays: a tone of {tone_hz:g} Hz is too high for the rectifier and coil of set '{relays.name}', "
                f"which follow up to {highest_hz:.0f} Hz: the coil gets {1e3 * mean:.3g} mA at the quietest level, and "
                f"it needs up to {1e3 * needed:.3g}."
            )
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


def highest_tone_hz(relays: RelaySet) -> float | None:
    """The highest tone, to 1 %, of which the quietest level still moves every input relay; None if none does.

    Infinite where it lies above what can be played at all.
    """
    needed = _needed_a(relays)

    def moves(tone_hz: float) -> bool:
        return _hardest_current_a(tone_hz, relays)[1] >= needed

    low, high = LOWEST_TONE_HZ, RATE_HZ / 2.2
    if not moves(low):
        return None
    if moves(high):
        return float("inf")
    while high / low > 1.01:
        middle = float(np.sqrt(low * high))
        low, high = (middle, high) if moves(middle) else (low, middle)
    return low


def _needed_a(relays: RelaySet) -> float:
    return relays.clock.pick_up.high * relays.clock.coil_v / relays.clock.resistance_ohm.high


def _hardest_current_a(tone_hz: float, relays: RelaySet) -> tuple[float, float]:
    """Least and mean current in the hottest coil of most resistance, with the smallest reservoir."""
    front_end = replace(relays.front_end, reservoir_f=relays.front_end.reservoir_f * (1 - relays.reservoir))
    return steady_current_a(front_end, copper(relays.clock.resistance_ohm.high, relays.hottest_c), relays, tone_hz)


def _reason_against_pair(tone_hz: float, second_hz: float, relays: RelaySet) -> str | None:
    """Whether the filters pass the second tone, and not the first, at the worst tape speed and tuning."""
    kind = relays.tone_filter
    assert kind is not None  # the caller has asked
    off = relays.tape.speed + kind.tuning
    needed = _needed_a(relays)
    harmless = relays.clock.pick_up.low * relays.clock.coil_v / relays.clock.resistance_ohm.low
    hot, cold = (
        copper(ohms, celsius)
        for ohms, celsius in (
            (relays.clock.resistance_ohm.high, relays.hottest_c),
            (relays.clock.resistance_ohm.low, relays.coldest_c),
        )
    )
    quiet, loud = relays.tape.quietest_db, relays.tape.loudest_db
    for centre_hz in (second_hz * (1 - off), second_hz * (1 + off)):
        least, _, _ = _filtered_current_a(kind, centre_hz, second_hz, quiet, hot, relays)
        if least < needed:
            return (
                f"relays: the filters of set '{relays.name}' leave the coil {1e3 * least:.3g} mA of a tone of "
                f"{second_hz:g} Hz where the tape's speed and their tuning are off, and it needs up to "
                f"{1e3 * needed:.3g}."
            )
        _, _, most = _filtered_current_a(kind, centre_hz, tone_hz, loud, cold, relays)
        if most >= harmless:
            return (
                f"relays: the filters of set '{relays.name}' for {second_hz:g} Hz let {1e3 * most:.3g} mA of a tone of "
                f"{tone_hz:g} Hz into the coil, and it picks up from {1e3 * harmless:.3g}: the tones are too near, or "
                f"one is three times the other."
            )
    return None


def _filtered_current_a(
    kind: FilterKind, centre_hz: float, tone_hz: float, level_db: float, ohms: float, relays: RelaySet
) -> tuple[float, float, float]:
    limiter = relays.front_end
    tuned = ToneFilter(centre_hz, kind.quality, limiter.gain_v, limiter.clip_v)
    sound = tuned.passed(_sine(tone_hz, level_db, _settling_s(limiter, ohms, relays)), 0)
    return _steady(sound, replace(limiter, gain_v=kind.gain).at_tone(tone_hz), ohms, relays, tone_hz)


def steady_current_a(front_end: FrontEnd, ohms: float, relays: RelaySet, tone_hz: float) -> tuple[float, float]:
    """Least and mean coil current in a steady tone at the set's quietest level, the armature at rest."""
    sound = _sine(tone_hz, relays.tape.quietest_db, _settling_s(front_end, ohms, relays))
    return _steady(sound, front_end.at_tone(tone_hz), ohms, relays, tone_hz)[:2]


def _settling_s(front_end: FrontEnd, ohms: float, relays: RelaySet) -> float:
    return STEADY_TAUS * max(relays.clock.released_h / ohms, front_end.source_ohm * front_end.reservoir_f)


def _sine(tone_hz: float, level_db: float, settling_s: float) -> Signal:
    times = np.arange(int((settling_s + 4 / tone_hz) * RATE_HZ)) / RATE_HZ
    return Signal(10 ** (level_db / 20) * np.sin(2 * np.pi * tone_hz * times), RATE_HZ)


def _steady(
    sound: Signal, front_end: FrontEnd, ohms: float, relays: RelaySet, tone_hz: float
) -> tuple[float, float, float]:
    """Least, mean and most coil current in the last four periods."""
    henry = relays.clock.released_h
    out_of_reach = Coil(ohms, henry, henry, 1e6, 1e5)
    current = trace(sound, 0, front_end, out_of_reach, Armature(1.0, 1.0)).current_a
    settled = current[-int(4 / tone_hz * RATE_HZ) :]
    return float(settled.min()), float(settled.mean()), float(settled.max())
