"""One byte of a typical machine, against Ohm's law, the tape and the relay's own data sheet."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from tapewright.contracts import registry
from tapewright.contracts.keying import KeyedLineCode
from tapewright.receivers.relays.coil import copper
from tapewright.receivers.relays.one_byte import one_byte
from tapewright.receivers.relays.relay_set import load_set
from tapewright.receivers.relays.table import load_table

SET, TABLE = load_set("signal_12v"), load_table("clock_tower")


def code() -> KeyedLineCode:
    made = registry.codec("plain-clocked").line_code
    assert isinstance(made, KeyedLineCode)
    return made


@pytest.fixture(scope="module")
def byte() -> dict[str, Any]:
    return one_byte(code(), SET, TABLE)


def test_a_burst_a_step_and_a_data_burst_for_each_one(byte: dict[str, Any]) -> None:
    clock, data = (track["closed_ms"] for track in byte["tracks"])
    for place, (start, end) in enumerate(zip(byte["steps_ms"], [*byte["steps_ms"][1:], byte["end_ms"]], strict=True)):
        assert sum(end_ms - start_ms for start_ms, end_ms in clock if start <= start_ms < end) > 15
        bit = byte["bits"][place] if place < len(byte["bits"]) else 0
        assert any(start <= start_ms < end for start_ms, _ in data) == (bit == 1)


def test_the_data_contact_leads_by_the_lead_of_the_tape(byte: dict[str, Any]) -> None:
    clock, data = (track["closed_ms"] for track in byte["closeup"]["tracks"])
    assert clock[0][0] - data[0][0] == pytest.approx(1e3 * code().keying().lead_s, abs=0.5)


def test_the_steady_current_is_that_of_ohm(byte: dict[str, Any]) -> None:
    # Far beyond clipping the amplifier's output is nearly square: clipping voltage less two drops, over the coil's
    # resistance half way between cold and hot and the source's. Its edges and the reservoir's ripple cost under 5 %.
    ohms = copper(SET.clock.resistance_ohm.typical, 0.5 * (SET.coldest_c + SET.hottest_c))
    expected = 1e3 * SET.front_end.peak_v / (ohms + SET.front_end.source_ohm)
    for track in byte["closeup"]["tracks"]:
        assert max(value for _, value in track["current_ma"]) == pytest.approx(expected, rel=0.05)


def test_the_contact_follows_the_pick_up_current_by_the_armature_s_travel(byte: dict[str, Any]) -> None:
    travel_ms = 1e3 * (SET.clock.operate_s.typical - SET.clock.rise_s)
    for track in byte["closeup"]["tracks"]:
        crossed = next(time for time, value in track["current_ma"] if value >= track["pick_up_ma"])
        assert track["closed_ms"][0][0] - crossed == pytest.approx(travel_ms, abs=0.2)


def test_lines_are_closed_in_their_steps_and_the_write_within_both_drives(byte: dict[str, Any]) -> None:
    closed = {line["name"]: line["closed_ms"] for line in byte["lines"]}
    edges = [*byte["steps_ms"], byte["end_ms"]]
    (write,) = closed["write"]
    for name in ("address out", "data out"):
        (drive,) = closed[name]
        assert drive[0] < write[0] < write[1] < drive[1]
        assert edges[8] < drive[0] < edges[9]
    assert edges[10] < write[0] < write[1] < edges[11]


def test_tracks_follow_the_plugs() -> None:
    turned = one_byte(replace(code(), clock_track="right"), SET, TABLE)
    assert [(track["role"], track["track"]) for track in turned["tracks"]] == [("clock", "right"), ("data", "left")]
    assert len(turned["tracks"][0]["closed_ms"]) > len(turned["tracks"][1]["closed_ms"])


def test_rails_show_each_bit_on_its_own_track_and_extra_steps_on_both() -> None:
    made = registry.codec("dual_rail").line_code
    assert isinstance(made, KeyedLineCode)
    byte = one_byte(made, SET, TABLE)
    closed = {track["role"]: track["closed_ms"] for track in byte["tracks"]}
    for place, (start, end) in enumerate(zip(byte["steps_ms"], [*byte["steps_ms"][1:], byte["end_ms"]], strict=True)):
        bit = byte["bits"][place] if place < len(byte["bits"]) else None
        for role, shown in (("zero", bit in (0, None)), ("one", bit in (1, None))):
            assert any(start <= start_ms < end for start_ms, _ in closed[role]) == shown
