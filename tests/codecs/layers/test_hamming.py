"""`hamming` against the standard tables, closed forms, and the most likely word found by hand."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom
from tapewright.codecs.layers.hamming import Hamming
from tapewright.contracts.soft_bits import LOST, SoftBits

SEVEN, EIGHT = Hamming(word_bits=7), Hamming(word_bits=8)
both = pytest.mark.parametrize("layer", [SEVEN, EIGHT], ids=["7", "8"])
NIBBLES = np.array(list(itertools.product((0, 1), repeat=4)), np.uint8)


def text(bits):
    return "".join(str(bit) for bit in bits)


def decoded(layer, values):
    return layer.decode((SoftBits(values),)).passes[0]


def test_words_of_seven_are_the_textbook_table():
    # Positional layout p1 p2 d1 p4 d2 d3 d4, even parity: the table of the encyclopaedias, from memory; its rows
    # 0001, 0010, 0100 and 1000 are the standard generator.
    table = {
        0x0: "0000000", 0x1: "1101001", 0x2: "0101010", 0x3: "1000011", 0x4: "1001100", 0x5: "0100101", 0x6: "1100110",
        0x7: "0001111", 0x8: "1110000", 0x9: "0011001", 0xA: "1011010", 0xB: "0110011", 0xC: "0111100", 0xD: "1010101",
        0xE: "0010110", 0xF: "1111111",
    }  # fmt: skip
    assert {number: text(SEVEN.encode(nibble)) for number, nibble in enumerate(NIBBLES)} == table


def test_words_of_eight_add_a_parity_bit_over_all():
    # The same with even parity last; weights 1, 14, 1 at 0, 4, 8 are those of the extended code in every textbook.
    sent = [np.packbits(EIGHT.encode(nibble))[0] for nibble in NIBBLES]
    assert bytes(sent).hex() == "00d255879 94bcc1ee133b46678aa2dff".replace(" ", "")
    assert np.bincount(np.bitwise_count(np.array(sent))).tolist() == [1, 0, 0, 0, 14, 0, 0, 0, 1]


@both
@given(st.integers(0, 300), st.integers(0, 2**32 - 1))
def test_round_trips_for_any_length(layer, length, seed):
    bits = np.random.default_rng(seed).integers(0, 2, length, dtype=np.uint8)
    coded = layer.encode(bits)
    assert coded.size == layer.coded_bits(length)
    heard = layer.decode((SoftBits(np.where(coded, 3.0, -3.0)),))
    assert np.array_equal(heard.passes[0].bits[:length], bits)
    assert heard.events == ()
    assert heard.verdict is None


@both
def test_every_single_error_is_put_right(layer):
    for nibble in NIBBLES:
        for place in range(layer.word_bits):
            values = np.where(layer.encode(nibble), 2.0, -2.0)
            values[place] *= -1
            heard = decoded(layer, values)
            assert np.array_equal(heard.bits, nibble)
            assert (np.abs(heard.values) > LOST).all()


def test_every_double_error_in_eight_is_noticed_and_handed_on_as_heard():
    for nibble in NIBBLES:
        for places in itertools.combinations(range(8), 2):
            values = np.where(EIGHT.encode(nibble), 2.0, -2.0)
            values[list(places)] *= -1
            heard = EIGHT.decode((SoftBits(values, np.arange(8)),))
            assert np.allclose(np.abs(heard.passes[0].values), LOST)
            assert np.array_equal(heard.passes[0].values > 0, values[[2, 4, 5, 6]] > 0)
            assert [str(event) for event in heard.events] == [
                "    2.000 s  hamming: word 1 of 1 could not be corrected"
            ]


@both
def test_two_unheard_bits_are_filled_in(layer):
    for places in itertools.combinations(range(layer.word_bits), 2):
        values = np.where(layer.encode(NIBBLES[11]), 1.0, -1.0)
        values[list(places)] = 0
        assert np.array_equal(decoded(layer, values).bits, NIBBLES[11])


@both
def test_what_is_not_known_does_not_become_known_by_agreeing_with_itself(layer):
    heard = decoded(layer, np.where(layer.encode(NIBBLES[6]), LOST, -LOST))
    assert (np.abs(heard.values) <= LOST).all()
    assert np.array_equal(heard.bits, NIBBLES[6])


@both
@given(st.integers(0, 2**32 - 1))
def test_finds_the_most_likely_word_and_by_how_much(layer, seed):
    values = np.random.default_rng(seed).normal(0, 2, layer.word_bits)
    values = np.where(np.abs(values) < 0.2, 0.2, values)
    fit = [float(np.where(layer.encode(nibble), values, -values).sum()) / 2 for nibble in NIBBLES]
    for place, value in enumerate(decoded(layer, values).values):
        with_it = max(f for f, nibble in zip(fit, NIBBLES, strict=True) if nibble[place])
        without = max(f for f, nibble in zip(fit, NIBBLES, strict=True) if not nibble[place])
        if abs(with_it - without) > LOST + 1e-5:
            assert value == pytest.approx(with_it - without, abs=1e-4)


def words_after(layer, words, error_rate, seed):
    """Which words, shape (words,), have a data bit wrong, and which are noticed, with each bit wrong at random."""
    rng = np.random.default_rng(seed)
    bits = rng.integers(0, 2, 4 * words, dtype=np.uint8)
    coded = layer.encode(bits) ^ (rng.random(layer.word_bits * words) < error_rate)
    heard = decoded(layer, np.where(coded, 1.0, -1.0))
    wrong = heard.bits != bits
    return wrong.reshape(words, 4), (np.abs(heard.values) <= LOST).reshape(words, 4)


def test_words_fail_as_often_as_the_binomial_tail_says():
    # Null: a word of seven is wrong with a chance of binom.sf(1, 7, .05) = .0444, data bits with 9p^2q^5 + 19p^3q^4 +
    # 16p^4q^3 + 12p^5q^2 + 7p^6q + p^7 = 1.943375e-2 (counted from the table). Seed 51, N = 100,000 words, bounds of 5
    # s.d. (the bits of a word fail together, at most 4 at a time): a false alarm once in 1.7 million runs.
    p, q, words = 0.05, 0.95, 100_000
    wrong, lost = words_after(SEVEN, words, p, seed=51)
    assert not lost.any()
    of_words = float(binom.sf(1, 7, p))
    of_bits = 9 * p**2 * q**5 + 19 * p**3 * q**4 + 16 * p**4 * q**3 + 12 * p**5 * q**2 + 7 * p**6 * q + p**7
    assert of_bits == pytest.approx(1.943375e-2, rel=1e-6)
    # Two or more errors always choose another word, and any two words differ in a data bit.
    assert abs(wrong.any(axis=1).sum() - words * of_words) < 5 * math.sqrt(words * of_words)
    assert abs(wrong.sum() - 4 * words * of_bits) < 5 * math.sqrt(4 * 4 * words * of_bits)


def test_eight_bits_notice_as_often_as_two_and_four_errors_happen():
    # Null: P(2 errors of 8 at p = .01) = 2.636144e-3 are noticed, and of four errors those that make no word
    # (6.7e-7 at most); three or more that are not noticed are wrong: P(>= 3) = 5.393332e-5. Seed 52, N = 200,000: means
    # 527 and 10.8; bounds 5 s.d. and Poisson P(> 30) = 6e-7.
    words = 200_000
    wrong, lost = words_after(EIGHT, words, 0.01, seed=52)
    noticed = int(lost.all(axis=1).sum())
    assert float(binom.pmf(2, 8, 0.01)) == pytest.approx(2.636144e-3, rel=1e-6)
    assert abs(noticed - words * 2.636144e-3) < 5 * math.sqrt(words * 2.636144e-3)
    assert lost.any(axis=1).sum() == noticed
    assert (wrong.any(axis=1) & ~lost.any(axis=1)).sum() <= 30


def test_soft_decisions_are_better_than_hard_ones_and_keep_to_the_union_bound():
    # Antipodal signals in white noise at Eb/N0 = 5 dB, rate 4/7. Union bound of a word: the sum of A_w Q(sqrt(2 w R g))
    # over the weights w = 3, 4, 7 with A_w = 7, 7, 1. Null: it holds, and more than half of it happens. Seed 53,
    # N = 200,000 words, mean below 900 failures, s.d. 30: bounds 5 s.d.
    words, g, rate = 200_000, 10**0.5, 4 / 7
    rng = np.random.default_rng(53)
    bits = rng.integers(0, 2, 4 * words, dtype=np.uint8)
    values = np.where(SEVEN.encode(bits), 1.0, -1.0) + rng.normal(0, math.sqrt(1 / (2 * rate * g)), 7 * words)
    likelihoods = values * 4 * rate * g
    soft = (decoded(SEVEN, likelihoods).bits != bits).reshape(words, 4).any(axis=1).sum()
    hard = (decoded(SEVEN, np.sign(values)).bits != bits).reshape(words, 4).any(axis=1).sum()
    bound = words * sum(n * 0.5 * math.erfc(math.sqrt(w * rate * g)) for w, n in ((3, 7), (4, 7), (7, 1)))
    assert 0.5 * bound < soft < bound + 5 * math.sqrt(bound)
    assert soft < 0.5 * hard


@both
def test_plays_of_one_length_are_added_up(layer):
    sent = np.where(layer.encode(NIBBLES[9]), 1.0, -1.0)
    first, second = sent.copy(), sent.copy()
    first[:2] *= -1
    second[4:6] *= -1
    heard = layer.decode((SoftBits(first), SoftBits(second)))
    assert len(heard.passes) == 1
    assert np.array_equal(heard.passes[0].bits, NIBBLES[9])
    assert len(layer.decode((SoftBits(first), SoftBits(second[:-1]))).passes) == 2
