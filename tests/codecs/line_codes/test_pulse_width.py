"""Pulse width: what is on the tape, and that a timer is enough to read it."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tapewright.codecs.line_codes.pulse_width import PulseWidth


def changes_of_level(samples):
    return np.flatnonzero(np.diff(np.signbit(samples).astype(int))) + 1


@given(st.sampled_from([2, 3]), st.integers(0, 2**32 - 1))
def test_a_bit_is_two_pulses_the_longer_one_first_for_a_1(ratio, seed):
    bits = np.random.default_rng(seed).integers(0, 2, 50).astype(np.uint8)
    starts = np.flatnonzero(PulseWidth(ratio=ratio).changes(bits))
    pulses = np.diff(np.append(starts, 50 * (ratio + 1))).reshape(-1, 2)
    assert np.array_equal(np.sort(pulses, axis=1), np.tile([1, ratio], (50, 1)))
    assert np.array_equal(pulses[:, 0] > pulses[:, 1], bits > 0)


@pytest.mark.parametrize("ratio", [2, 3])
@pytest.mark.parametrize("speed", [0.7, 1.0, 1.4])
def test_a_timer_alone_reads_it(ratio, speed):
    """The time from change to change, two by two, in either polarity and at any speed: written for this test."""
    code = PulseWidth(ratio=ratio, bit_rate_hz=1000.0 * speed, leader_s=0.1)
    bits = np.random.default_rng(1).integers(0, 2, 300).astype(np.uint8)
    times = changes_of_level(-code.modulate(bits, 44_100).samples[0])
    pulses = np.diff(np.concatenate(([0], times)))
    lead = max(round(0.1 * code.bit_rate_hz), 96) + 32
    mine = pulses[2 * lead : 2 * (lead + 300)].reshape(-1, 2)
    assert np.array_equal(mine[:, 0] > mine[:, 1], bits > 0)
