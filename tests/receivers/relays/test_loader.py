"""The loader: by hand keys, step by step, from an address; and what each fault does to memory."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tapewright.contracts.keying import Keying
from tapewright.contracts.signal import Signal
from tapewright.receivers.relays.fault import ADDRESS_OFF, EARLY_WRITE, MOVING_BIT, NO_WRITE, NOT_CLEARED
from tapewright.receivers.relays.load_record import Load
from tapewright.receivers.relays.loader import Contacts, armed_s, by_hand, load, run
from tapewright.receivers.relays.machine import Machine, build, random_place
from tapewright.receivers.relays.relay_set import load_set
from tapewright.receivers.relays.table import Line, Table, load_table

KEYING = Keying(3000.0, 0.06, ("clock", "data"), 0.024, 0.034, 0.01, 8, 4, 1.0)
TABLE = load_table("clock_tower")
RELAYS = load_set("signal_12v")


def typical(table: Table = TABLE) -> Machine:
    return build(RELAYS, table, KEYING, lambda role, quantity: 0.0)


def keys(payload: bytes) -> str:
    return "".join(f"{byte:08b}0000" for byte in payload)


def by_keys(payload: bytes, table: Table = TABLE, hold_s: float = 0.5, first_address: int | None = None) -> Load:
    return run(by_hand(keys(payload), KEYING, hold_s), typical(table), table, KEYING, 0.0, first_address)


def table_with(name: str, **figures: object) -> Table:
    lines = tuple(replace(line, **figures) if line.name == name else line for line in TABLE.lines)  # type: ignore[arg-type]
    return replace(TABLE, lines=lines)


@given(st.binary(min_size=1, max_size=4), st.floats(0.05, 1.0))
def test_hand_keys_load_any_bytes(payload: bytes, hold_s: float) -> None:
    loaded = by_keys(payload, hold_s=hold_s)
    assert loaded.image == payload
    assert loaded.unwritten == ()
    assert loaded.faults == ()


def test_the_least_significant_bit_may_come_first() -> None:
    keying = replace(KEYING, least_significant_first=True)
    loaded = run(by_hand("10000000" + "0000", keying), typical(), TABLE, keying)
    assert loaded.image == b"\x01"


def test_single_steps_show_lines_latches_and_address() -> None:
    pauses = list(by_keys(b"\xa5\x0f").pauses())
    assert [pause.step for pause in pauses] == [*range(1, 13)] * 2
    assert pauses[7].latches == (1, 0, 1, 0, 0, 1, 0, 1)
    assert [pause.held for pause in pauses[7:12]] == [
        (),
        ("address out", "data out"),
        ("address out", "data out"),
        ("address out", "data out", "write"),
        ("address out", "data out", "count", "clear"),
    ]
    assert [pauses[n].address for n in (10, 11, 23)] == [0, 1, 2]
    assert pauses[12].latches == (0,) * 8


def test_the_log_tells_every_line_in_the_order_of_the_tape() -> None:
    log = by_keys(b"\x81").log()
    assert [entry.time_s for entry in log] == sorted(entry.time_s for entry in log)
    told = [f"{entry.line} {entry.what}" for entry in log]
    for first, then in (
        ("step 1 comes in", "step 2 comes in"),
        ("bit 1 is latched", "bit 8 is latched"),
        ("address out closes", "write closes"),
        ("data out closes", "write closes"),
        ("write closes", "cell 0 takes 81"),
        ("cell 0 takes 81", "write opens"),
        ("write opens", "count closes"),
        ("count closes", "address is 1"),
        ("count closes", "latches fall"),
        ("clear opens", "address out opens"),
    ):
        assert told.index(first) < told.index(then), (first, then)
    assert str(log[0]) == f"{log[0].time_s:9.4f} s  {told[0]}"


def test_a_restart_begins_at_an_address() -> None:
    loaded = by_keys(b"\x11\x22", first_address=0x40)
    assert loaded.memory.cells == {0x40: 0x11, 0x41: 0x22}
    assert loaded.image == b"\x11\x22"


def test_a_program_past_the_last_address_overwrites_the_first_and_is_told() -> None:
    small = replace(TABLE, address_bits=1)
    loaded = by_keys(b"\x01\x02\x03", small)
    assert loaded.memory.cells == {0: 3, 1: 2}
    assert [fault.what for fault in loaded.faults] == [ADDRESS_OFF]
    assert "longer than the 2 addresses" in loaded.faults[0].text


def test_a_write_in_the_step_that_drives_the_bus_goes_astray() -> None:
    # At the pace of relays, not of hands: the bus drivers come in only after the write pulse has begun.
    early = table_with("write", steps=(9,))
    loaded = by_keys(b"\xff\xff", early, hold_s=0.03)
    assert EARLY_WRITE in {fault.what for fault in loaded.faults}
    assert {fault.path for fault in loaded.faults} == {"settle"}
    assert 0x00 in [byte for _, _, byte in loaded.memory.writes]


def test_a_bus_that_is_let_go_during_the_write_is_told() -> None:
    # The drivers fall when step 11 is armed, in the pause after the clock; a write held over step 11 lasts longer.
    held = table_with("write", when="step")
    late = replace(
        held,
        lines=tuple(replace(line, steps=(9, 10)) if line.action == "drive" else line for line in held.lines),
    )
    loaded = by_keys(b"\xff", late)
    assert (EARLY_WRITE, "hold") in {(fault.what, fault.path) for fault in loaded.faults}


def test_two_drivers_feed_every_wire() -> None:
    switches = Line("hand switches", "drive", (10, 11, 12), "step", "data", (), ())
    loaded = by_keys(b"\x0f", replace(TABLE, lines=(*TABLE.lines, switches)))
    assert loaded.image == b"\xff"


def test_a_sneak_path_drives_a_line_in_a_step_of_its_neighbour() -> None:
    shared = replace(table_with("data out", steps=(9, 10, 11, 12)), isolation="none")
    alone, fed = by_keys(b"\x0f").lines["address out"][0], by_keys(b"\x0f", shared).lines["address out"][0]
    assert fed.leave_s > alone.leave_s + 0.4


def test_a_line_through_another_comes_after_it() -> None:
    chained = table_with("data out", through=("address out",))
    plain, late = by_keys(b"\x0f").lines["data out"][0], by_keys(b"\x0f", chained).lines["data out"][0]
    assert late.touch_s > plain.touch_s + 1e-3
    assert by_keys(b"\x0f", chained).image == b"\x0f"


def clocked_contacts(data: list[tuple[float, float]], count: int = 12) -> Contacts:
    closed = [(1.0 + 0.06 * n, 1.024 + 0.06 * n) for n in range(count)]
    edges = [0.0, *(edge for interval in closed for edge in interval), 3.0]
    return Contacts(closed, list(zip(edges[::2], edges[1::2], strict=True)), data, 3.0)


def test_data_that_moves_during_the_clock_is_told() -> None:
    needed = typical().latches[0].operate_s
    steady = run(clocked_contacts([(0.99, 1.03)]), typical(), TABLE, KEYING)
    assert (steady.image, steady.faults) == (b"\x80", ())
    brief = run(clocked_contacts([(0.99, 1.0 + 0.8 * needed)]), typical(), TABLE, KEYING)
    assert brief.image == b"\x00"
    assert [(fault.what, fault.path) for fault in brief.faults] == [(MOVING_BIT, "latch")]
    neighbour = run(clocked_contacts([(1.024 - 1.5 * needed, 1.05)]), typical(), TABLE, KEYING)
    assert neighbour.image == b"\x80"
    assert [(fault.what, fault.path) for fault in neighbour.faults] == [(MOVING_BIT, "spill")]


@pytest.mark.parametrize(
    ("slow", "path", "what"),
    [("counter", "count", ADDRESS_OFF), ("cell", "write", NO_WRITE), ("latches", "clear", NOT_CLEARED)],
)
def test_pulses_that_are_too_short_are_told(slow: str, path: str, what: str) -> None:
    machine = typical()
    if slow == "latches":
        sluggish = tuple(replace(latch, release_s=0.2, leave_s=0.15) for latch in machine.latches)
        machine = replace(machine, latches=sluggish)
    else:
        machine = replace(machine, **{slow: replace(getattr(machine, slow), operate_s=0.2)})  # type: ignore[arg-type]
    loaded = run(clocked_contacts([], 24), machine, TABLE, KEYING)
    assert {(fault.what, fault.path) for fault in loaded.faults} == {(what, path)}
    # Without the count both bytes go to cell 0; without a write none does.
    assert len(loaded.memory.cells) == {"count": 1, "write": 0, "clear": 2}[path]


def test_the_machine_is_armed_after_the_line_up_tone() -> None:
    with_tone = replace(KEYING, first_step_s=3.0, line_up_s=2.0)
    contacts = Contacts([(0.0, 2.0)], [(2.01, 3.0), (3.03, 3.06)], [], 4.0)
    assert armed_s(contacts, KEYING) == 0.0
    assert armed_s(contacts, with_tone) == pytest.approx(2.31)
    assert armed_s(Contacts([], [], [], 4.0), with_tone) == 4.0
    assert armed_s(Contacts([], [(0.0, 3.0)], [], 4.0), with_tone) == pytest.approx(1.3)


@given(st.integers(0, 2**32 - 1), st.sampled_from(["silence", "noise", "hum", "nothing"]))
def test_loading_is_total(seed: int, what: str) -> None:
    rng = np.random.default_rng(seed)
    frames = 0 if what == "nothing" else 11_025
    sounds = {
        "silence": np.zeros((2, frames)),
        "noise": rng.normal(0, 1, (2, frames)),
        "hum": np.sin(np.arange(frames) * 0.02 + np.zeros((2, 1))),
        "nothing": np.zeros((2, 0)),
    }
    machine = build(RELAYS, TABLE, KEYING, random_place(rng))
    loaded = load(Signal(sounds[what], 22_050), machine, TABLE, KEYING, rng)
    assert len(loaded.image) <= TABLE.address_space
    assert len(loaded.log()) >= 0
    assert all(0 <= fault.time_s <= 1.0 for fault in loaded.faults)
