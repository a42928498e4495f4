"""Parts: counts that can be checked by hand, and life."""

from dataclasses import replace

import pytest
from tapewright.contracts.keying import Keying
from tapewright.receivers.relays.parts import life_days, parts
from tapewright.receivers.relays.relay_set import load_set
from tapewright.receivers.relays.table import load_table

KEYING = Keying(3000.0, 0.06, ("clock", "data"), 0.024, 0.034, 0.01, 8, 4, 1.0, mark_s=0.048, mark_extra_s=0.024)
TABLE = load_table("clock_tower")


def test_rated_life_at_a_steady_pace() -> None:
    assert life_days(1e7, 5) == pytest.approx(23.148, abs=5e-4)  # 1e7 operations at 5 a second


def test_a_machine_of_two_pole_relays_counted_by_hand() -> None:
    found = parts(load_set("signal_12v"), TABLE, KEYING)
    counts = {entry.purpose: entry.count for entry in found.relays}
    assert counts == {
        "clock input": 1,
        "data input": 1,
        "step": 24,  # holding, arming and a pole for its lines: two relays of two poles each
        "arm": 24,  # holding, dropping, feeding
        "bit latch": 8,
        "reset mark": 1,
        "line 'address out'": 4,
        "line 'data out'": 4,
        "line 'write'": 1,
        "line 'count'": 1,
        "line 'clear'": 1,
        "address counter": 32,  # two four-pole relays a bit
    }
    assert found.relay_count == sum(counts.values()) == 102
    assert found.by_poles == {2: 102}
    assert found.isolating_diodes == (3 + 3 + 1 + 1 + 1) + 8  # a line and step each, and the bits
    assert found.clamp_diodes == found.zeners == 100  # every switched coil; the two inputs are not switched
    assert found.rectifier_diodes == 8
    assert found.capacitors == 3
    assert found.steps_a_byte == 12
    assert found.seconds_a_byte == pytest.approx(12 * 0.06 + 0.024)


def test_more_poles_need_fewer_relays() -> None:
    found = parts(load_set("plug_in_12v"), TABLE, KEYING)
    counts = {entry.purpose: entry.count for entry in found.relays}
    assert (counts["step"], counts["arm"], counts["line 'data out'"], counts["address counter"]) == (12, 12, 2, 16)
    assert found.by_poles == {4: found.relay_count}


def test_a_make_contact_needs_its_repeater_and_no_mark_needs_no_reset_relay() -> None:
    purposes = [entry.purpose for entry in parts(load_set("reed_12v"), TABLE, replace(KEYING, mark_s=None)).relays]
    assert "clock repeater" in purposes
    assert "reset mark" not in purposes


def test_rails_need_two_clock_contacts_and_one_more_for_the_bit() -> None:
    rails = replace(KEYING, roles=("zero", "one"), lead_s=0.0)
    found = parts(load_set("plug_in_12v"), TABLE, rails)
    counts = {entry.purpose: entry.count for entry in found.relays}
    assert (counts["zero input"], counts["one input"]) == (1, 1)
    assert found.relay_count == parts(load_set("plug_in_12v"), TABLE, KEYING).relay_count


def test_operations_and_loads_of_life() -> None:
    found = parts(load_set("signal_12v"), TABLE, KEYING)
    assert found.operations_a_load(128) == 12 * 128  # the clock relay is the busiest
    assert found.loads_of_life(128) == pytest.approx(1e7 / 1536)


def test_current_follows_from_the_coils() -> None:
    relays = load_set("signal_12v")
    found = parts(relays, TABLE, KEYING)
    coil = 13.8 / 1028
    assert found.step_currents_a[0] == pytest.approx((2 + 8) * coil)
    assert found.step_currents_a[10] == pytest.approx((2 + 3 + 8) * coil)
    assert found.peak_a > max(found.step_currents_a)
