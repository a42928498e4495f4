"""The ring of step relays: it counts clocks, once each, and says where it could not."""

import pytest
from tapewright.receivers.relays.coil import Coil
from tapewright.receivers.relays.fault import ADDRESS_OFF, DOUBLE_CLOCK, MISSED_CLOCK
from tapewright.receivers.relays.front_end import Armature, FrontEnd
from tapewright.receivers.relays.machine import Input, Machine
from tapewright.receivers.relays.relay_type import Switched
from tapewright.receivers.relays.sequencer import Count, count_clocks

STEPS = 4
PERIOD, BURST = 0.1, 0.04
RELAY = Switched(operate_s=0.010, bounce_s=0.002, leave_s=0.003, release_s=0.005)


def machine(reset_s: float | None = None) -> Machine:
    hearing = Input(FrontEnd(40.0, 18.0, 8.0), Coil(275, 1, 1, 0.03, 0.01), Armature(0.01, 0.01), 0.002)
    return Machine(hearing, hearing, None, (RELAY,) * STEPS, (RELAY,) * STEPS, {}, (), reset_s, RELAY, RELAY)


def ring(closed: list[tuple[float, float]], reset_s: float | None = None, armed_s: float = 0.0) -> Count:
    edges = [0.0, *(edge for interval in closed for edge in interval), closed[-1][1] + 1.0]
    opened = [(s, e) for s, e in zip(edges[::2], edges[1::2], strict=True)]
    return count_clocks(closed, opened, machine(reset_s), PERIOD, armed_s, edges[-1])


def clocks(count: int) -> list[tuple[float, float]]:
    return [(0.2 + PERIOD * n, 0.2 + PERIOD * n + BURST) for n in range(count)]


def test_each_clock_is_one_step_and_after_the_last_comes_the_first() -> None:
    count = ring(clocks(10))
    assert [step for _, step in count.steps] == [1, 2, 3, 4, 1, 2, 3, 4, 1, 2]
    assert [time for time, _ in count.steps] == pytest.approx([0.21 + PERIOD * n for n in range(10)])
    assert count.faults == []
    assert [len(pulses) for pulses in count.pulses] == [3, 3, 2, 2]
    assert count.pulses[1][0] == pytest.approx((0.3, 0.34))


def test_a_step_relay_stays_in_until_the_next_step_is_armed() -> None:
    count = ring(clocks(6))
    first = count.closures[0][0]
    # Step 2 touches at 0.31; its arming relay comes in 10 ms after the clock opens at 0.34, and step 1 lets go then.
    assert (first.touch_s, first.solid_s, first.leave_s, first.gone_s) == pytest.approx((0.21, 0.212, 0.353, 0.355))
    assert count.closures[1][0].touch_s < first.leave_s


def test_bounce_is_not_counted() -> None:
    bouncing = [part for s, e in clocks(5) for part in ((s, s + 0.001), (s + 0.003, s + 0.004), (s + 0.006, e))]
    count = ring(bouncing)
    assert [step for _, step in count.steps] == [1, 2, 3, 4, 1]
    assert count.faults == []


def test_a_burst_that_is_split_for_long_enough_counts_twice_and_is_told() -> None:
    start, _ = clocks(3)[1]
    split = [clocks(3)[0], (start, start + 0.012), (start + 0.027, start + 0.040), clocks(3)[2]]
    count = ring(split)
    assert [step for _, step in count.steps] == [1, 2, 3, 4]
    assert [fault.what for fault in count.faults] == [DOUBLE_CLOCK]
    assert count.faults[0].time_s == pytest.approx(start + 0.027)


def test_a_missing_burst_is_told() -> None:
    lost = clocks(8)
    del lost[3]
    count = ring(lost)
    assert [step for _, step in count.steps] == [1, 2, 3, 4, 1, 2, 3]
    assert [(fault.what, fault.path) for fault in count.faults] == [(MISSED_CLOCK, "")]
    assert count.faults[0].time_s == pytest.approx(0.6)


def test_a_clock_too_short_for_the_step_relay_is_told_with_its_path() -> None:
    short = clocks(3)
    short[1] = (0.3, 0.308)
    count = ring(short)
    assert [step for _, step in count.steps] == [1, 2]
    assert (MISSED_CLOCK, "advance") in [(fault.what, fault.path) for fault in count.faults]
    assert "closed 8.0 ms, 10.0 needed" in count.faults[0].text


def test_a_gap_too_short_for_the_arming_relay_is_told_with_its_path() -> None:
    count = ring([(0.2, 0.291), (0.3, 0.34), (0.4, 0.44)])
    assert [step for _, step in count.steps] == [1, 2]
    assert [(fault.what, fault.path) for fault in count.faults if fault.path] == [(MISSED_CLOCK, "arm")]


def test_a_clock_that_closes_before_the_last_arming_relay_has_left_pulses_the_old_step_too() -> None:
    count = ring([(0.2, 0.288), (0.3, 0.34)])
    assert [(fault.what, fault.path) for fault in count.faults if fault.path] == [(DOUBLE_CLOCK, "arm")]
    assert count.pulses[0][1] == pytest.approx((0.3, 0.301))
    assert count.pulses[1][0] == pytest.approx((0.3, 0.34))


def marked(bytes_: int) -> list[tuple[float, float]]:
    return [
        (0.2 + PERIOD * n, 0.2 + PERIOD * n + (2 * BURST if n % STEPS == 0 else BURST)) for n in range(bytes_ * STEPS)
    ]


def test_a_reset_mark_sets_a_ring_that_lost_a_clock_right() -> None:
    lost = marked(3)
    del lost[5]
    count = ring(lost, reset_s=0.055)
    assert [step for _, step in count.steps] == [1, 2, 3, 4, 1, 2, 3, 4, 1, 2, 3, 4]
    assert [step for _, step in count.resets] == [1, 1, 4]
    assert count.steps[7][0] == pytest.approx(1.01)  # the mark acts as step 4 first
    assert count.steps[8][0] == pytest.approx(1.0 + 0.055 + 0.010)
    told = [fault for fault in count.faults if fault.what == ADDRESS_OFF]
    assert [fault.time_s for fault in told] == pytest.approx([1.055])
    assert told[0].path == ""


def test_a_clock_as_long_as_a_mark_is_told_with_its_path() -> None:
    count = ring(clocks(3), reset_s=0.025)
    # Step 2 comes in, is thrown out by the reset relay, and step 1 comes in within the same clock.
    assert [step for _, step in count.steps] == [1, 2, 1, 2, 1]
    assert [(fault.what, fault.path) for fault in count.faults if fault.path] == [(ADDRESS_OFF, "mark")] * 2


def test_what_comes_before_the_machine_is_armed_is_not_counted() -> None:
    count = ring(clocks(6), armed_s=0.35)
    assert [step for _, step in count.steps] == [1, 2, 3, 4]
    assert count.steps[0][0] == pytest.approx(0.41)
