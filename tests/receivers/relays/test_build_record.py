"""What there is to build, checked by hand calculation and by the front end itself."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from itertools import pairwise
from typing import Any

import pytest
from tapewright.contracts import registry
from tapewright.contracts.errors import UsageError
from tapewright.contracts.keying import KeyedLineCode
from tapewright.receivers.relays.build_record import FUSES_A, build_record
from tapewright.receivers.relays.corner import Surroundings, everywhere
from tapewright.receivers.relays.machine import build
from tapewright.receivers.relays.relay_set import load_set
from tapewright.receivers.relays.reservoir import release_s
from tapewright.receivers.relays.table import load_table

SET, TABLE = load_set("signal_12v"), load_table("clock_tower")


def code() -> KeyedLineCode:
    made = registry.codec("plain-clocked").line_code
    assert isinstance(made, KeyedLineCode)
    return made


@pytest.fixture(scope="module")
def record() -> dict[str, Any]:
    return build_record(code(), SET, TABLE, 100)


def test_it_is_plain_data(record: dict[str, Any]) -> None:
    assert json.loads(json.dumps(record, allow_nan=False)).keys() == record.keys()


def test_the_lengths_on_tape_add_up(record: dict[str, Any]) -> None:
    keying = record["keying"]
    assert keying["clock_burst_ms"] + keying["silence_ms"] == pytest.approx(keying["step_ms"])
    assert keying["lead_ms"] + keying["clock_burst_ms"] == pytest.approx(keying["data_burst_ms"])
    steps = keying["data_steps"] + keying["extra_steps"]
    assert steps * keying["step_ms"] + keying["mark_extra_ms"] == pytest.approx(keying["byte_ms"])


def test_currents_powers_and_kicks_are_those_of_ohm_and_kirchhoff(record: dict[str, Any]) -> None:
    highest = record["supply"]["highest_v"]
    assert highest == pytest.approx(SET.supply.voltage_v * (1 + SET.supply.tolerance))
    logic = next(coil for coil in record["coils"] if coil["role"] == "logic")
    assert logic["most_ma"] == pytest.approx(1e3 * highest / logic["ohm"][0])
    assert logic["most_w"] == pytest.approx(highest**2 / logic["ohm"][0])
    # A zener in series with a diode holds the sum of the two, whatever the current.
    assert logic["kick_v"] == pytest.approx(SET.clamp.zener_v + SET.clamp.diode_v)
    assert logic["across_switch_v"] == pytest.approx(highest + logic["kick_v"])
    source = next(coil for coil in record["coils"] if coil["role"] == "input")
    assert source["kick_v"] is None
    # The coil on the rectifier sees the clipping amplifier less two drops of a bridge.
    assert source["most_v"] == pytest.approx(SET.front_end.clip_v - 2 * SET.front_end.diode_v)


def test_the_fuse_is_the_next_preferred_rating(record: dict[str, Any]) -> None:
    # IEC 60127 (from memory): ratings of the R10 series, each 10^(1/10) above the last, rounded.
    for one, other in pairwise(FUSES_A):
        assert other / one == pytest.approx(10 ** (1 / 10), rel=0.03)
    supply = record["supply"]
    asked = supply["fuse_share"] * supply["peak_a"]
    assert supply["fuse_a"] >= asked
    assert max(rating for rating in FUSES_A if rating < supply["fuse_a"]) < asked


def test_the_largest_reservoir_lets_go_in_time_and_a_larger_one_does_not(record: dict[str, Any]) -> None:
    front = record["front_end"]
    keying, within_s = code().keying(), 1e-3 * front["release_within_ms"]
    largest_f = 1e-6 * front["largest_reservoir_uf"] * (1 + SET.reservoir)

    def slowest_s(farad: float) -> float:
        found = []
        for temperature in (-1, 1):
            for resistance in (-1, 1):
                place = everywhere("long", Surroundings(temperature, 1, 1), resistance)
                clock = build(SET, TABLE, keying, place).clock
                circuit = replace(clock.front_end, reservoir_f=farad)
                burst_s = keying.clock_burst_s / (1 + SET.tape.speed)
                found.append(release_s(circuit, clock.coil, clock.armature, keying.tone_hz, burst_s))
        return max(found)

    assert slowest_s(0.98 * largest_f) <= within_s
    assert slowest_s(1.03 * largest_f) > within_s
    assert front["largest_reservoir_uf"] > front["reservoir_uf"]


def test_the_level_window_and_the_reset_delay_follow_from_the_set(record: dict[str, Any]) -> None:
    level, keying = record["line_up"], record["keying"]
    assert 20 * math.log10(level["loudest_peak_v"] / level["quietest_peak_v"]) == pytest.approx(level["window_db"])
    assert keying["clock_burst_ms"] < level["reset_delay_ms"] < keying["mark_ms"]
    assert build_record(replace(code(), reset_mark=False), SET, TABLE, 1)["line_up"]["reset_delay_ms"] is None


def test_a_program_that_does_not_fit_is_refused() -> None:
    with pytest.raises(UsageError, match="257 bytes from address 0 does not fit 8 address bits"):
        build_record(code(), SET, TABLE, 257)
