"""Suitability: the highest and the lowest tone follow from the circuit, and hold in it."""

from dataclasses import replace

import pytest
from relay_tapes import keyed
from tapewright.receivers.relays.relay_set import load_set, ready_sets
from tapewright.receivers.relays.suitability import highest_tone_hz, reason_against, reason_against_tone
from tapewright.receivers.relays.table import load_table
from tapewright.receivers.relays.timing import timing


@pytest.mark.parametrize("name", ready_sets())
def test_a_tone_is_refused_above_the_highest_and_not_below(name: str) -> None:
    relays = load_set(name)
    highest = highest_tone_hz(relays)
    assert highest is not None
    if highest == float("inf"):
        assert reason_against_tone(19_000, relays) is None
        return
    assert 5_000 < highest < 15_000
    assert reason_against_tone(0.99 * highest, relays) is None
    said = reason_against_tone(1.02 * highest, relays)
    assert said is not None
    assert f"which follow up to {highest:.0f} Hz" in said


def test_quicker_diodes_and_a_stronger_amplifier_raise_the_highest_tone() -> None:
    relays = load_set("signal_12v")
    highest = highest_tone_hz(relays)
    quick = replace(relays.front_end, recovery_s=5e-6)
    strong = replace(relays.front_end, clip_v=20.0)
    for front_end in (quick, strong):
        assert highest_tone_hz(replace(relays, front_end=front_end)) > 1.2 * highest
    leaky = replace(relays.front_end, leakage_h=5e-3)
    assert highest_tone_hz(replace(relays, front_end=leaky)) < 0.9 * highest
    feeble = replace(relays.front_end, clip_v=5.0)
    assert highest_tone_hz(replace(relays, front_end=feeble)) is None


def test_what_a_tone_loses_costs_the_machine_time() -> None:
    # Timing and load build the same circuits; here, that the loss is in them.
    relays, table, code = load_set("signal_12v"), load_table("clock_tower"), keyed("clocked:tone_hz=7000")
    ideal = replace(relays, front_end=replace(relays.front_end, recovery_s=0.0))

    def spare(relays) -> float:
        return min(margin.margin_s for margin in timing(code, relays, table).margins if margin.path == "advance")

    assert spare(relays) < spare(ideal) - 0.1e-3
    assert reason_against(code.keying(), relays, table) is None
