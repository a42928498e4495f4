"""The start mark is found where it stands, damaged or not, and nowhere else."""

import numpy as np
import pytest
from tapewright.codecs.line_codes.start_mark import CONTEXT, START_BITS, data_begin

ZEROS = np.zeros(CONTEXT, np.uint8)
ONES = np.ones(CONTEXT, np.uint8)
TURNS = np.arange(CONTEXT, dtype=np.uint8) % 2


def tape(leader, before, after, seed):
    """Leader bits, the mark, chance data; as likelihoods of magnitude 8."""
    rng = np.random.default_rng(seed)
    bits = np.concatenate((np.resize(leader[::-1], before)[::-1], START_BITS, rng.integers(0, 2, after)))
    return 16.0 * bits - 8.0


@pytest.mark.parametrize("leader", [ZEROS, ONES, TURNS], ids=["zeros", "ones", "turns"])
@pytest.mark.parametrize("before", [0, 5, 24, 1000, 8160, 8192, 20_000])
def test_data_begins_after_the_mark(leader, before):
    assert data_begin(tape(leader, before, 3000, 1), leader) == before + 32


@pytest.mark.parametrize("leader", [ZEROS, ONES, TURNS], ids=["zeros", "ones", "turns"])
@pytest.mark.parametrize("seed", range(30))
def test_nine_wrong_bits_or_sixteen_missing_ones_do_not_hide_it(leader, seed):
    rng = np.random.default_rng(seed)
    values = tape(leader, 500, 200, seed)
    wrong = values.copy()
    wrong[500 - CONTEXT + rng.permutation(CONTEXT + 32)[:9]] *= -1
    assert data_begin(wrong, leader) == 532
    missing = values.copy()
    begin = 500 + rng.integers(0, 17)
    missing[begin : begin + 16] = 0
    assert data_begin(missing, leader) == 532


@pytest.mark.parametrize("cut", range(1, 9))
def test_the_first_bits_of_it_may_be_missing(cut):
    assert data_begin(tape(ZEROS, 0, 300, 2)[cut:], ZEROS) == 32 - cut


@pytest.mark.parametrize("leader", [ZEROS, ONES, TURNS], ids=["zeros", "ones", "turns"])
def test_neither_leader_nor_chance_data_nor_a_dropout_is_a_mark(leader):
    """10^5 chance bits, seed 3: 56 bits agree in 47 or more at one place in 8 million, so 1.3 % for a false alarm."""
    assert data_begin(tape(leader, 5000, 0, 3)[:5000], leader) is None
    chance = 8.0 - 16.0 * np.random.default_rng(3).integers(0, 2, 100_000)
    assert data_begin(chance, leader) is None
    gap = tape(leader, 5000, 0, 3)[:5000]
    gap[2500:2540] = 0
    assert data_begin(gap, leader) is None


@pytest.mark.parametrize("count", [0, 1, 23, 24, 31, 55, 56])
def test_short_and_silent_streams_hold_no_mark(count):
    assert data_begin(np.zeros(count), ZEROS) is None
