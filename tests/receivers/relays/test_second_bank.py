"""A second bank of latches: a byte is written while the bits of the next are heard."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from relay_tapes import extreme_place, keyed, tape_of, tape_within
from tapewright.contracts.registry import codec, receiver
from tapewright.contracts.signal import Signal
from tapewright.contracts.streams import stream
from tapewright.receivers.relays.edges import PATTERN
from tapewright.receivers.relays.fault import NOT_CLEARED, NOT_COPIED
from tapewright.receivers.relays.fitting import fitted
from tapewright.receivers.relays.hazard import hazards
from tapewright.receivers.relays.loader import by_hand, load, run
from tapewright.receivers.relays.machine import build, random_place
from tapewright.receivers.relays.pace import pace
from tapewright.receivers.relays.parts import parts
from tapewright.receivers.relays.relay_set import load_set
from tapewright.receivers.relays.table import load_table
from tapewright.receivers.relays.timing import shortest_step, timing

RELAYS = load_set("signal_12v")
PLAIN, OVERLAPPED = load_table("clock_tower"), load_table("clock_tower_overlapped")
CODE = keyed("clocked:extra_steps=2,line_up_s=0.2,leader_s=0.5")
KEYING = replace(CODE.keying(), end_mark_s=None)


def typical(table=OVERLAPPED):
    return build(RELAYS, table, KEYING, lambda role, quantity: 0.0)


def by_keys(payload, machine=None, table=OVERLAPPED, hold_s=0.5):
    presses = "".join(f"{byte:08b}00" for byte in payload)
    return run(by_hand(presses, KEYING, hold_s), machine or typical(table), table, KEYING)


@given(st.binary(min_size=1, max_size=4))
def test_hand_keys_load_any_bytes(payload):
    loaded = by_keys(payload)
    assert (loaded.image, loaded.unwritten, loaded.faults) == (payload, (), ())


def test_a_byte_is_written_in_the_bit_steps_of_the_next_and_nothing_before_the_first_is_full():
    loaded = by_keys(b"\xa5\x0f")
    starts = [time for time, step in loaded.count.steps if step == 1]
    assert [(address, byte) for _, address, byte in loaded.memory.writes] == [(0, 0xA5), (1, 0x0F)]
    assert loaded.memory.writes[0][0] > starts[1]
    assert [address for _, address in loaded.memory.counts] == [1, 2]


def test_the_ready_table_has_no_hazard_and_fewer_extra_steps():
    assert hazards(OVERLAPPED, RELAYS) == ()
    assert OVERLAPPED.steps == PLAIN.steps - 2
    assert (PLAIN.overlapped, OVERLAPPED.overlapped) == (False, True)


def test_a_bank_that_is_not_released_shows_both_bytes_at_once():
    machine = typical()
    stuck = replace(machine, bank=tuple(replace(latch, release_s=9.0, leave_s=8.0) for latch in machine.bank))
    loaded = by_keys(b"\xa0\x05", stuck)
    assert loaded.image == b"\xa0\xa5"
    assert {(fault.what, fault.path) for fault in loaded.faults} == {(NOT_CLEARED, "clear")}


def test_a_copy_that_is_too_short_is_told():
    machine = typical()
    slow = replace(machine, bank=tuple(replace(latch, operate_s=9.0) for latch in machine.bank))
    loaded = by_keys(b"\xa0", slow)
    assert loaded.image == b"\x00"
    assert {(fault.what, fault.path) for fault in loaded.faults} == {(NOT_COPIED, "copy")}


def test_the_bank_is_bought_and_pays_in_bytes_a_second():
    plain = pace(keyed("clocked:line_up_s=0.2,leader_s=0.5"), RELAYS, PLAIN)
    overlapped = pace(CODE, RELAYS, OVERLAPPED)
    assert overlapped.bytes_per_s > 1.1 * plain.bytes_per_s
    # By hand, of two-pole relays: bank 8, filled 2, copy and release; four step relays and four arming ones less.
    assert overlapped.relays - plain.relays == 8 + 2 + 2 - 4 - 4
    counts = {entry.purpose: entry.count for entry in parts(RELAYS, OVERLAPPED, KEYING).relays}
    assert (counts["second bank"], counts["second bank filled"]) == (8, 2)


@pytest.mark.parametrize("name", ["signal_12v", "graded_12v"])
@pytest.mark.parametrize("line_code", ["clocked", "dual_rail"])
def test_what_timing_calls_safe_loads_and_a_corner_fails_below_it(name, line_code):
    relays = load_set(name)
    code = keyed(f"{line_code}:extra_steps=2,line_up_s=0.2,leader_s=0.5")
    found = shortest_step(code, relays, OVERLAPPED)
    assert {"copy", "settle", "hold", "clear"} <= {margin.path for margin in found.margins}
    at_limit = code.at_step(found.step_s)
    keying = at_limit.keying()
    for seed in range(6):
        place = (extreme_place, random_place)[seed % 2](np.random.default_rng(seed))
        rng = np.random.default_rng(seed)
        signal = tape_within(at_limit, PATTERN, relays, rng)
        loaded = load(signal, build(relays, OVERLAPPED, keying, place), OVERLAPPED, keying, rng)
        assert loaded.image == PATTERN, loaded.faults
    faster = code.at_step(0.8 * found.step_s)
    corner = timing(faster, relays, OVERLAPPED).limiting.corner
    machine = build(relays, OVERLAPPED, faster.keying(), corner.place(), corner.bounces)
    signal = tape_of(corner, faster, PATTERN, relays)
    assert load(signal, machine, OVERLAPPED, faster.keying(), np.random.default_rng(0)).image != PATTERN


def test_a_bank_that_is_too_slow_is_what_timing_names():
    lazy = replace(RELAYS.latch.operate_s, low=0.03, typical=0.031, high=0.032)
    found = timing(CODE, replace(RELAYS, latch=replace(RELAYS.latch, operate_s=lazy)), OVERLAPPED)
    assert "copy" in {margin.path for margin in found.margins if margin.margin_s < 0}


def test_the_plug_in_loads_a_tape():
    machine, stack = receiver("relays:table=clock_tower_overlapped"), codec("clocked:extra_steps=2,line_up_s=0.5")
    decoded = machine.receive(stack, (stack.encode(b"\x12\x00\xff\x81"),), stream(7, 0, "receiver"))
    assert (decoded.payload, decoded.lost, decoded.events) == (b"\x12\x00\xff\x81", (), ())


@pytest.mark.parametrize("spec", ["parity/clocked:group_bits=9", "vote/dual_rail:group_bits=24"])
def test_a_layer_is_read_before_the_byte_is_copied(spec):
    """The second bank holds the byte that the contacts show, not the group: eight latches whatever the layers."""
    machine, stack = receiver("relays:table=clock_tower_overlapped"), codec(f"{spec},extra_steps=2,line_up_s=0.2")
    decoded = machine.receive(stack, (stack.encode(b"\x12\x00\xff\x81"),), stream(7, 0, "receiver"))
    assert (decoded.payload, decoded.intact, decoded.lost, decoded.events) == (b"\x12\x00\xff\x81", None, (), ())
    relays, table = machine.wiring(stack)
    counts = {entry.purpose: entry.count for entry in parts(relays, table, stack.line_code.keying()).relays}
    assert counts["second bank"] == 8


def test_an_alarm_stops_before_the_bad_byte_is_written():
    machine = receiver("relays:table=clock_tower_overlapped")
    stack = codec("parity/clocked:group_bits=9,extra_steps=2,line_up_s=0.2,leader_s=0.5")
    keying = stack.line_code.keying()
    samples = stack.encode(b"\xff\xff\xff").samples.copy()
    start = keying.first_step_s + keying.seconds_a_byte + keying.mark_extra_s + 4 * keying.step_s
    samples[1, round(start * 44_100) : round((start + keying.step_s) * 44_100)] = 0.0
    decoded = machine.receive(stack, (Signal(samples, 44_100),), stream(7, 0, "receiver"))
    # The first byte is written in the bit steps of the second, which has been heard whole when the alarm comes.
    assert (decoded.payload, decoded.intact) == (b"\xff", False)


@pytest.mark.acceptance
def test_bytes_a_second_stand_against_relays_for_every_wiring():
    """Steps by hand; what more relays buy is at least a tenth more bytes, except for a check, which costs some."""
    machine = receiver("relays")
    wirings = {
        "plain": ("dual_rail:reset_mark=false", PLAIN),
        "overlapped": ("dual_rail:reset_mark=false,extra_steps=2", OVERLAPPED),
        "pairs": ("two_tone_rails:reset_mark=false", PLAIN),
        "checked": ("parity/dual_rail:reset_mark=false,group_bits=9", PLAIN),
    }
    found = {
        name: pace(codec(spec).line_code, machine.wiring(codec(spec))[0], fitted(table, codec(spec)))
        for name, (spec, table) in wirings.items()
    }
    assert {name: one.steps_a_byte for name, one in found.items()} == {
        "plain": 12,
        "overlapped": 10,
        "pairs": 8,
        "checked": 13,
    }
    for one in found.values():
        assert one.bytes_per_s == pytest.approx(1 / (one.steps_a_byte * one.step_s))
    assert found["overlapped"].bytes_per_s > 1.1 * found["plain"].bytes_per_s
    assert found["pairs"].bytes_per_s > 1.4 * found["plain"].bytes_per_s
    assert 0.9 * found["plain"].bytes_per_s < found["checked"].bytes_per_s < found["plain"].bytes_per_s
    assert found["overlapped"].relays > found["plain"].relays


def test_a_parity_bit_is_bought_in_relays():
    """By hand, of two-pole relays: nine latches of four contacts for eight of two; step, arm, alarm, reset of 3."""
    machine = receiver("relays")
    plain, checked = (machine.relay_count(codec(spec)) for spec in ("dual_rail", "parity/dual_rail:group_bits=9"))
    assert checked - plain == (18 - 8) + 2 + 2 + 2 + (2 - 1)
