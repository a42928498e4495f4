"""Relay spread, and whether a pace is followed: what a choice asks of the relay receiver by arithmetic."""

from dataclasses import replace

import pytest
from tapewright.contracts.registry import codec, receiver
from tapewright.receivers.relays.relay_set import load_set, ready_sets
from tapewright.receivers.relays.timing import timing


@pytest.mark.parametrize("name", ready_sets())
def test_relays_further_apart_keep_their_typical_figures_and_stay_possible(name: str) -> None:
    kinds = load_set(name)
    for factor in (0.0, 0.5, 1.0, 2.0, 10.0):
        wider = kinds.spread(factor)
        for role in ("clock", "logic", "latch"):
            own, other = getattr(kinds, role), getattr(wider, role)
            for figure in ("pick_up", "drop_out", "operate_s", "release_s", "bounce_s"):
                was, now = getattr(own, figure), getattr(other, figure)
                assert now.typical == was.typical
                assert now.high - now.typical <= factor * (was.high - was.typical) + 1e-12
                assert now.typical - now.low <= factor * (was.typical - was.low) + 1e-12
                if factor == 1:
                    assert (now.low, now.high) == pytest.approx((was.low, was.high))
            # What a set file may hold (``RelayType.read``) holds for the wider one too.
            assert other.operate_s.low > other.rise_s
            assert other.drop_out.high < other.pick_up.low
            assert other.pick_up.high < 1.0


def test_wider_relays_close_only_at_a_longer_step() -> None:
    machines = [receiver(f"relays:set=graded_12v,relay_spread={factor}") for factor in (1.0, 1.5)]
    own, wider = (machine.quickest(codec("clocked:line_up_s=0.2")) for machine in machines)
    assert own.line_code.keying().step_s < wider.line_code.keying().step_s


def test_a_pace_is_followed_exactly_where_timing_closes() -> None:
    machine = receiver("relays:set=graded_12v")
    quickest = machine.quickest(codec("parity/clocked:group_bits=9"))
    assert quickest is not None
    step_s = quickest.line_code.keying().step_s
    for factor, follows in ((1.0, True), (0.8, False)):
        stack = replace(quickest, line_code=quickest.line_code.at_step(factor * step_s))
        assert machine.follows(stack) is follows
        assert timing(stack.line_code, *machine.wiring(stack)).closes is follows
