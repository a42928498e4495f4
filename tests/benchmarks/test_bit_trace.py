"""Bits followed through what was heard: wrong, missing, slipped."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from tapewright.benchmarks.bit_trace import FARTHEST_SLIP_BITS, MISSING, RIGHT, WINDOW_BITS, WRONG, trace
from tapewright.contracts.soft_bits import SoftBits


def recorded(count, seed=1):
    return np.random.default_rng(seed).integers(0, 2, count).astype(np.uint8)


def test_a_clean_play_is_right_throughout():
    sent = recorded(500)
    found = trace(sent, SoftBits.certain(sent, np.arange(500) / 1000))
    assert not found.bad.any()
    assert found.slips == ()
    assert np.array_equal(found.times_s, np.arange(500) / 1000)
    assert found.first_trouble(False) is found.first_trouble(True) is None


def test_wrong_and_missing_bits_stand_where_they_are():
    sent = recorded(300)
    values = np.where(sent > 0, 5.0, -5.0)
    values[[40, 41]] *= -1
    values[100:103] = 0
    found = trace(sent, SoftBits(values, np.arange(300) / 1000))
    assert np.flatnonzero(found.states == WRONG).tolist() == [40, 41]
    assert np.flatnonzero(found.states == MISSING).tolist() == [100, 101, 102]
    assert (found.states == RIGHT).sum() == 295
    assert found.first_trouble(corrected=False) == 40
    assert found.first_trouble(corrected=True) == 40
    values[200:220] = 0
    assert trace(sent, SoftBits(values)).first_trouble(corrected=True) == 200


@given(
    at=st.integers(0, 700),
    by=st.integers(-FARTHEST_SLIP_BITS, FARTHEST_SLIP_BITS).filter(bool),
    seed=st.integers(0, 1000),
)
def test_a_slip_is_found_within_a_window_or_two(at, by, seed):
    sent = recorded(1000, seed)
    extra = recorded(max(by, 0), seed + 1)
    heard = np.concatenate([sent[:at], extra, sent[at - min(by, 0) :]])
    found = trace(sent, SoftBits.certain(heard, np.arange(heard.size) / 1000))
    assert sum(step for _, step in found.slips) == by
    places = [place for place, _ in found.slips]
    assert all(at - WINDOW_BITS <= place <= at + FARTHEST_SLIP_BITS + 2 * WINDOW_BITS for place in places)
    assert not found.bad[at + FARTHEST_SLIP_BITS + 3 * WINDOW_BITS :].any()


def test_noise_is_not_taken_for_slips():
    """Null: bits heard at random, so that any count fits by chance. A wrong count agrees in 44 of 48 bits with
    probability 7.6e-10 (binomial); 21 windows times 128 counts times 20 plays give a false-alarm chance of 4e-5.
    """
    for seed in range(20):
        sent, heard = recorded(1000, seed), recorded(1000, seed + 1000)
        assert trace(sent, SoftBits.certain(heard)).slips == ()


def test_nothing_heard_and_nothing_recorded():
    sent = recorded(100)
    found = trace(sent, SoftBits([]))
    assert (found.states == MISSING).all()
    assert np.isnan(found.times_s).all()
    assert trace(sent[:0], SoftBits.certain(sent)).states.size == 0
    one = trace(sent, SoftBits([3.0 if sent[0] else -3.0], [0.25]))
    assert one.states[0] == RIGHT
    assert (one.times_s == 0.25).all()


def test_bits_not_heard_get_a_time_between_and_beyond():
    sent = recorded(100)
    found = trace(sent, SoftBits.certain(sent[:50], 1 + np.arange(50) / 100))
    assert np.allclose(found.times_s, 1 + np.arange(100) / 100)
