"""Timing against simulation: what it calls safe never fails, and it is not timid."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from drawn_machines import SHORT_LEADER, corner_loads, keeps_the_two_laws, loads
from relay_tapes import extreme_place, keyed, tape_of
from tapewright.contracts.errors import UsageError
from tapewright.receivers.relays.edges import PATTERN
from tapewright.receivers.relays.fault import PATHS
from tapewright.receivers.relays.loader import load
from tapewright.receivers.relays.machine import build, random_place
from tapewright.receivers.relays.relay_set import RelaySet, load_set, ready_sets
from tapewright.receivers.relays.table import load_table
from tapewright.receivers.relays.timing import Timing, shortest_step, timing


@pytest.mark.parametrize("seed", range(10))
@pytest.mark.parametrize("name", ["clocked", "dual_rail"])
def test_what_timing_calls_safe_never_fails_and_it_is_not_timid(name: str, seed: int) -> None:
    keeps_the_two_laws(name, seed)


def test_latches_that_take_the_next_byte_do_not_cut_the_write_of_a_second_bank() -> None:
    """The machine of one long run whose write pulse met the first bit of the next byte."""
    keeps_the_two_laws("dual_rail", 215)


@pytest.mark.acceptance
@pytest.mark.parametrize("seed", range(100, 250))
@pytest.mark.parametrize("name", ["clocked", "dual_rail"])
def test_the_same_over_three_hundred_machines(name: str, seed: int) -> None:
    """Seeds were fixed before the run."""
    keeps_the_two_laws(name, seed)


@cache
def limit_of(name: str, spec: str = f"clocked:{SHORT_LEADER}") -> Timing:
    found = shortest_step(keyed(spec), load_set(name), load_table("clock_tower"))
    assert found is not None
    return found


@pytest.mark.parametrize(
    ("name", "spec"),
    [
        *((name, f"clocked:{SHORT_LEADER}") for name in ready_sets()),
        # Relays of a break contact of their own, and reeds that need a repeater.
        *((name, f"dual_rail:{SHORT_LEADER}") for name in ("graded_12v", "reed_12v")),
    ],
)
def test_ready_sets_load_at_their_shortest_step_and_a_corner_fails_below_it(name: str, spec: str) -> None:
    relays, table = load_set(name), load_table("clock_tower")
    code, found = keyed(spec), limit_of(name, spec)
    at_limit = code.at_step(found.step_s)
    for seed in range(6):
        for place in (random_place(np.random.default_rng(seed)), extreme_place(np.random.default_rng(seed))):
            right, faults = loads(at_limit, relays, table, place, seed, PATTERN + bytes([seed]))
            assert right, faults
    faster = code.at_step(0.8 * found.step_s)
    tight = timing(faster, relays, table)
    assert tight.limiting.path in {margin.path for margin in found.margins if margin.margin_s < 0.001}
    assert not corner_loads(tight, 0, faster, relays, table)


def test_the_faults_name_the_path_that_timing_named() -> None:
    relays, table = load_set("plug_in_12v"), load_table("clock_tower")
    code = keyed(f"clocked:{SHORT_LEADER}")
    faster = code.at_step(0.8 * limit_of("plug_in_12v").step_s)
    limiting = timing(faster, relays, table).limiting
    machine = build(relays, table, faster.keying(), limiting.corner.place(), limiting.corner.bounces)
    signal = tape_of(limiting.corner, faster, PATTERN, relays)
    loaded = load(signal, machine, table, faster.keying(), np.random.default_rng(0))
    assert limiting.path in {fault.path for fault in loaded.faults}


def test_the_default_code_closes_on_the_default_machine() -> None:
    found = timing(keyed("clocked"), load_set("signal_12v"), load_table("clock_tower"))
    assert found.closes
    assert found.hazards == ()
    assert found.recovery is not None
    assert found.recovery.margin_s > 0  # and a lost clock costs one byte
    assert {margin.path for margin in found.margins} | {"recover"} >= set(PATHS) - {"handover", "bounce", "copy"}
    assert [margin.margin_s for margin in found.margins] == sorted(margin.margin_s for margin in found.margins)


def test_margins_follow_from_the_figures() -> None:
    # A step relay slower by 2 ms has 2 ms less to spare for advancing, whatever else is slow.
    relays, table, code = load_set("signal_12v"), load_table("clock_tower"), keyed("clocked")

    def spare(relays: RelaySet, path: str) -> float:
        return min(margin.margin_s for margin in timing(code, relays, table).margins if margin.path == path)

    operate = relays.logic.operate_s
    slower = replace(relays, logic=replace(relays.logic, operate_s=replace(operate, high=operate.high + 2e-3)))
    for path, relays_in_it in (("advance", 1), ("arm", 1), ("write", 2), ("count", 2), ("clear", 1)):
        lost = spare(relays, path) - spare(slower, path)
        # Memory cells and latches are of the set's latch type, which is the logic type here by value, not by name.
        expected = 2e-3 * (1 if path == "write" else relays_in_it)
        assert lost == pytest.approx(expected, abs=1e-9), path
    skewed = replace(relays, tape=replace(relays.tape, skew_s=relays.tape.skew_s + 1e-3))
    assert spare(relays, "latch") - spare(skewed, "latch") == pytest.approx(1e-3, abs=0.2e-3)


def test_the_order_of_the_bits_costs_no_time() -> None:
    relays, table = load_set("signal_12v"), load_table("clock_tower")
    first, last = (timing(keyed(f"clocked:bit_order={order}"), relays, table) for order in ("msb", "lsb"))
    assert last.limiting.margin_s == pytest.approx(first.limiting.margin_s, abs=0.5e-3)


def test_rails_have_no_data_that_a_clock_must_find_and_skew_costs_them_silence() -> None:
    relays, table, code = load_set("signal_12v"), load_table("clock_tower"), keyed("dual_rail:step_ms=60")

    def spare(skew_s: float, path: str) -> float:
        skewed = replace(relays, tape=replace(relays.tape, skew_s=skew_s))
        return min(margin.margin_s for margin in timing(code, skewed, table).margins if margin.path == path)

    assert spare(2e-3, "latch") == pytest.approx(spare(0.0, "latch"), abs=1e-6)
    assert spare(0.0, "arm") - spare(2e-3, "arm") == pytest.approx(2e-3, abs=0.2e-3)


def test_a_wrong_table_never_closes() -> None:
    table = load_table("clock_tower")
    lines = tuple(replace(line, steps=(9,)) if line.name == "write" else line for line in table.lines)
    found = timing(keyed("clocked"), load_set("signal_12v"), replace(table, lines=lines))
    assert not found.closes
    assert found.limiting.path == "settle"
    assert found.hazards


def test_the_reset_mark_costs_its_relay_time() -> None:
    relays, table = load_set("graded_12v"), load_table("clock_tower")
    without = keyed("clocked:reset_mark=false")
    assert timing(without, relays, table).recovery is None
    assert "mark" not in {margin.path for margin in timing(without, relays, table).margins}
    plain = limit_of("graded_12v", f"clocked:reset_mark=false,{SHORT_LEADER}")
    assert plain.step_s <= limit_of("graded_12v").step_s


def test_a_machine_that_can_never_follow_has_no_shortest_step() -> None:
    relays = load_set("signal_12v")
    feeble = replace(relays, supply=replace(relays.supply, voltage_v=9.5))  # hot and sagging it never picks up
    assert shortest_step(keyed("clocked"), feeble, load_table("clock_tower")) is None


@pytest.mark.parametrize("step_ms", [8.0, 30.0, 80.0, 700.0])
def test_the_shortest_step_does_not_hang_on_the_step_that_is_asked_about(step_ms: float) -> None:
    # At 8 ms the clock relay follows no burst, at 12 ms its bounce counts twice: neither says anything of 80 ms.
    relays, table = load_set("signal_12v"), load_table("clock_tower")
    code = keyed(f"clocked:step_ms={step_ms},lead_ms={step_ms / 8},edge_ms={step_ms / 16},{SHORT_LEADER}")
    found = shortest_step(code, relays, table)
    assert found is not None
    assert found.closes
    assert found.step_s == pytest.approx(0.0515, rel=0.006)
    assert not timing(code.at_step(found.step_s / 1.006), relays, table).closes


def test_unsuitable_codes_are_refused_in_one_line() -> None:
    relays, table = load_set("signal_12v"), load_table("clock_tower")
    for spec, said in (
        ("clocked:extra_steps=3", "has 12 steps a byte with 8 bits, and this code has 11"),
        ("clocked:tone_hz=9000", "tone of 9000 Hz is too high for the rectifier and coil of set 'signal_12v'"),
    ):
        with pytest.raises(UsageError, match=said):
            timing(keyed(spec), relays, table)
    small = replace(
        relays, front_end=replace(relays.front_end, reservoir_f=0.0), clock=replace(relays.clock, released_h=0.01)
    )
    with pytest.raises(
        UsageError, match="a tone of 400 Hz is too low for the reservoir of set 'signal_12v': between its peaks"
    ):
        timing(keyed("clocked:tone_hz=400,step_ms=200"), small, table)
    quiet = replace(relays, tape=replace(relays.tape, quietest_db=-30.0))
    with pytest.raises(UsageError, match="at the quietest level of set 'signal_12v' gives the input coil"):
        timing(keyed("clocked"), quiet, table)
