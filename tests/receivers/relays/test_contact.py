"""Contacts: bounce is no part of operate time, a switched relay follows or does not, intervals meet."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tapewright.kernels.rectified_coil import BREAK_CLOSES, BREAK_OPENS, MAKE_CLOSES, MAKE_OPENS
from tapewright.receivers.relays.contact import Closure, bounce_s, contact_intervals, follow, overlap
from tapewright.receivers.relays.listening import ContactEvents
from tapewright.receivers.relays.relay_type import Switched

PULL_IN = [(0.010, BREAK_OPENS), (0.013, MAKE_CLOSES), (0.043, MAKE_OPENS), (0.046, BREAK_CLOSES)]


def events(moves: list[tuple[float, int]], current_a: float = 0.04) -> ContactEvents:
    times, kinds = zip(*moves, strict=True)
    return ContactEvents(np.array(times), np.array(kinds, np.int8), np.full(len(moves), current_a))


@pytest.mark.parametrize("bounces", ["drawn", "longest", "shortest"])
def test_bounce_lies_after_the_first_touch(bounces: str) -> None:
    # Bounce time = first to last closing, and no part of the operate time (IEC 61810 terms).
    for seed in range(20):
        closed, opened = contact_intervals(events(PULL_IN), 0.1, 0.02, 0.004, bounces, np.random.default_rng(seed))
        assert closed[0][0] == 0.013
        assert closed[-1][1] == 0.043
        assert 0.013 + (0.002 if bounces != "longest" else 0.004) - 1e-12 <= closed[-1][0] <= 0.013 + 0.004 + 1e-12
        assert len(closed) > 1
        assert all(end <= start for (_, end), (start, _) in pairwise(closed))
        assert opened == [(0.0, 0.010), (0.050, 0.1)]  # the break contact bounces too


def test_a_weak_contact_bounces_longer() -> None:
    assert bounce_s(0.020, 0.020, 0.003) == pytest.approx(0.006)
    assert bounce_s(0.022, 0.020, 0.003) == pytest.approx(0.0045)
    assert bounce_s(0.024, 0.020, 0.003) == bounce_s(0.1, 0.020, 0.003) == pytest.approx(0.003)


def test_a_contact_that_is_closed_at_the_end_stays_closed() -> None:
    closed, opened = contact_intervals(events(PULL_IN[:2]), 0.1, 0.02, 0.001, "longest", np.random.default_rng(0))
    assert closed[-1][1] == 0.1
    assert opened == [(0.0, 0.010)]


RELAY = Switched(operate_s=0.010, bounce_s=0.002, leave_s=0.003, release_s=0.005)


def test_a_relay_follows_a_long_pulse_and_not_a_short_one() -> None:
    closures, short = follow([(0.0, 0.009), (0.1, 0.15)], RELAY)
    assert short == [(0.0, 0.009)]
    assert closures == [Closure(0.1 + 0.010, 0.1 + 0.012, 0.15 + 0.003, 0.15 + 0.005)]


def test_a_relay_rides_through_a_gap_shorter_than_its_release() -> None:
    closures, short = follow([(0.0, 0.05), (0.052, 0.053), (0.2, 0.3)], RELAY)
    assert short == []
    assert [edge for c in closures for edge in (c.touch_s, c.leave_s)] == pytest.approx([0.010, 0.056, 0.210, 0.303])


@given(
    st.lists(st.floats(0, 1), min_size=0, max_size=12, unique=True),
    st.lists(st.floats(0, 1), min_size=0, max_size=12, unique=True),
    st.floats(0, 1),
)
def test_overlap_is_what_both_cover(first: list[float], second: list[float], at: float) -> None:
    def intervals(edges: list[float]) -> list[tuple[float, float]]:
        edges = sorted(edges)
        return list(zip(edges[::2], edges[1::2], strict=False))

    def inside(parts: list[tuple[float, float]]) -> bool:
        return any(start < at < end for start, end in parts)

    one, two = intervals(first), intervals(second)
    assert inside(overlap(one, two)) == (inside(one) and inside(two))
    assert all(end > start for start, end in overlap(one, two))
