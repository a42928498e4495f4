"""`repeat` against the closed forms of a vote, and its copies found again where bits were lost or gained."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom
from tapewright.codecs.layers.repeat import Repeat
from tapewright.contracts.errors import UsageError
from tapewright.contracts.soft_bits import LOST, SoftBits

copies_of_any_number = st.sampled_from([3, 5, 7, 9])


def drawn(length, seed):
    return np.random.default_rng(seed).integers(0, 2, length, dtype=np.uint8)


def decoded(layer, values):
    return layer.decode((SoftBits(values),)).passes[0]


def test_copies_follow_each_other_and_change_the_track():
    # By hand: whole bytes, an odd number of bits from copy to copy, so that a bit is in turn at even and at odd places.
    for data, sent in (("11010011", "11010011 0 11010011 0 11010011"), ("110", "11000000 0 11000000 0 11000000")):
        bits = np.array([int(digit) for digit in data], np.uint8)
        assert "".join(str(bit) for bit in Repeat(copies=3).encode(bits)) == sent.replace(" ", "")


@given(copies_of_any_number, st.integers(1, 400), st.data())
def test_each_bit_is_on_both_tracks_in_turn(copies, length, data):
    place = data.draw(st.integers(0, length - 1))
    bits = np.zeros(length, np.uint8)
    bits[place] = 1
    tracks = np.flatnonzero(Repeat(copies=copies).encode(bits)) % 2
    assert tracks.size == copies
    assert (np.diff(tracks) != 0).all()


@given(copies_of_any_number, st.integers(0, 400), st.integers(0, 2**32 - 1))
def test_round_trips_for_any_length(copies, length, seed):
    layer, bits = Repeat(copies=copies), drawn(length, seed)
    coded = layer.encode(bits)
    assert coded.size == layer.coded_bits(length)
    heard = layer.decode((SoftBits(np.where(coded, 1.0, -1.0)),))
    assert np.array_equal(heard.passes[0].bits[:length], bits)
    assert heard.verdict is None


@pytest.mark.parametrize(
    ("copies", "failing"),
    [(3, 2.8e-2), (5, 8.56e-3), (7, 2.728e-3), (9, 8.9092e-4)],  # sum over i > r/2 of C(r, i) p^i q^(r-i) at p = .1
)
def test_a_vote_fails_as_often_as_the_binomial_tail_says(copies, failing):
    # Null: bits fail with a chance of binom.sf(r // 2, r, .1). Seed 54, N = 100,000 bits: bounds 5 s.d., a false alarm
    # once in 1.7 million runs (Poisson for r = 9, mean 89: about the same).
    assert float(binom.sf(copies // 2, copies, 0.1)) == pytest.approx(failing, rel=1e-4)
    layer, bits = Repeat(copies=copies), drawn(100_000, 54)
    coded = layer.encode(bits)
    coded = coded ^ (np.random.default_rng(55).random(coded.size) < 0.1)
    wrong = int((decoded(layer, np.where(coded, 1.0, -1.0)).bits != bits).sum())
    assert abs(wrong - 1e5 * failing) < 5 * math.sqrt(1e5 * failing)


def test_one_sure_copy_outvotes_two_doubtful_ones():
    layer, bits = Repeat(), drawn(8, 1)
    values = np.where(layer.encode(bits), 1.0, -1.0)
    values[:17] *= -0.4  # the first two copies and the zeros behind them
    assert np.array_equal(decoded(layer, values).bits, bits)


def test_soft_votes_gain_what_adding_up_energy_gains():
    # Antipodal signals in white noise: the sum of r copies has the error rate of r times the energy, Q(sqrt(r) m / s);
    # a vote of signs has the binomial tail of Q(m / s). Null: so. Seed 56, N = 200,000, m / s = 1: means 8,324 and
    # 13,464 errors; bounds 5 s.d.
    layer, bits, n = Repeat(), drawn(200_000, 56), 200_000
    values = np.where(layer.encode(bits), 1.0, -1.0) + np.random.default_rng(57).normal(0, 1, layer.coded_bits(n))
    one = 0.5 * math.erfc(1 / math.sqrt(2))
    for heard, expected in ((values, 0.5 * math.erfc(math.sqrt(1.5))), (np.sign(values), float(binom.sf(1, 3, one)))):
        wrong = int((decoded(layer, heard).bits != bits).sum())
        assert abs(wrong - n * expected) < 5 * math.sqrt(n * expected)


@given(st.integers(3, 40), st.data())
def test_a_dropout_as_long_as_a_copy_costs_nothing(whole_bytes, data):
    length = 8 * whole_bytes
    layer, bits = Repeat(), drawn(length, length)
    values = np.where(layer.encode(bits), 1.0, -1.0)
    start = data.draw(st.integers(0, values.size - length))
    values[start : start + length] = 0
    heard = decoded(layer, values)
    assert np.array_equal(heard.bits, bits)
    assert (np.abs(heard.values) > LOST).all()


def test_what_no_copy_knows_stays_lost():
    layer, bits = Repeat(), drawn(8, 2)
    heard = decoded(layer, np.where(layer.encode(bits), LOST, -LOST))
    assert (np.abs(heard.values) <= LOST).all()
    assert np.array_equal(heard.bits, bits)


def test_plays_are_added_up_with_their_copies():
    # Two of three copies are wrong in each play, by less than the right one is sure together with the other play's.
    layer, bits = Repeat(), drawn(16, 3)
    plays = []
    for right in (0, 2):
        values = np.where(layer.encode(bits), -1.0, 1.0)
        values[17 * right : 17 * right + 16] *= -2.5
        plays.append(SoftBits(values))
    heard = layer.decode(tuple(plays))
    assert len(heard.passes) == 1
    assert np.array_equal(heard.passes[0].bits, bits)


@given(
    st.integers(0, 2**32 - 1),
    copies_of_any_number,
    st.sampled_from([400, 1000, 2024]),
    st.integers(-4, 4).filter(bool),
)
def test_copies_are_aligned_where_one_slipped(seed, copies, length, slip):
    # One slip anywhere but in the first and last 64 bits, with 2 % of all bits wrong besides: what comes out starts
    # with the data, apart from bits that two copies have wrong or lie beside the slip.
    rng = np.random.default_rng(seed)
    layer, bits = Repeat(copies=copies), drawn(length, seed)
    values = np.where(layer.encode(bits), 1.0, -1.0)
    values[rng.random(values.size) < 0.02] *= -1
    place = int(rng.integers(64, values.size - 64))
    if slip < 0:
        values = np.delete(values, slice(place, place - slip))
    else:
        values = np.insert(values, place, rng.choice([-1.0, 1.0], slip))
    heard = layer.decode((SoftBits(values, np.arange(values.size)),))
    assert np.mean(heard.passes[0].bits[:length] != bits) < 0.03
    assert len(heard.passes[0]) == length
    assert (np.diff(heard.passes[0].times_s) >= 0).all()


@given(st.integers(0, 2**32 - 1), st.sampled_from([-3, -1, 1, 2]), st.sampled_from([-2, -1, 1, 3]))
def test_each_copy_is_followed_through_its_own_slip(seed, first, second):
    # Two of three copies slip, so that without steps all bits after both would have only one copy in place: a third of
    # the load. One bit in a hundred is wrong besides.
    rng = np.random.default_rng(seed)
    layer, bits = Repeat(), drawn(2400, seed)
    values = np.where(layer.encode(bits), 1.0, -1.0)
    values[rng.random(values.size) < 0.01] *= -1
    for place, slip in ((2401 + 1600, second), (800, first)):  # the later one first, so that places stay
        if slip < 0:
            values = np.delete(values, slice(place, place - slip))
        else:
            values = np.insert(values, place, rng.choice([-1.0, 1.0], slip))
    heard = decoded(layer, values)
    assert len(heard) == 2400
    assert np.mean(heard.bits != bits) < 0.03


@given(st.integers(0, 2**32 - 1), st.integers(1, 100), st.integers(1, 23))
def test_bits_too_many_at_the_end_do_no_harm(seed, whole_bytes, surplus):
    # Three bytes more would be another length of the data.
    layer, bits = Repeat(), drawn(8 * whole_bytes, seed)
    values = np.where(layer.encode(bits), 1.0, -1.0)
    heard = decoded(layer, np.append(values, np.random.default_rng(seed).choice([-1.0, 1.0], surplus)))
    assert np.array_equal(heard.bits, bits)


def test_a_play_that_slipped_is_added_to_one_that_did_not():
    layer, bits = Repeat(), drawn(2024, 5)
    values = np.where(layer.encode(bits), 1.0, -1.0)
    slipped = np.delete(values, 700)
    heard = layer.decode((SoftBits(values), SoftBits(slipped)))
    assert len(heard.passes) == 1
    assert np.array_equal(heard.passes[0].bits, bits)
    assert [str(event) for event in heard.events] == ["repeat: play 2 lost or gained bits and its copies were aligned"]


def test_noise_of_any_length_is_not_aligned_to_anything():
    rng = np.random.default_rng(6)
    for length in (0, 1, 2, 3, 7, 255, 767, 768, 1500, 3001):
        heard = Repeat().decode((SoftBits(rng.normal(0, 1, length)),))
        assert len(heard.passes[0]) <= (length + 1) // 3


@pytest.mark.parametrize("copies", [0, 1, 2, 4, 11])
def test_an_even_number_of_copies_is_refused(copies):
    with pytest.raises(UsageError, match=f"repeat: parameter 'copies' must be one of 3, 5, 7, 9, not {copies}"):
        Repeat(copies=copies)
