import itertools
import math

import komm
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tapewright.codecs.layers.convolutional import PATTERNS, Convolutional
from tapewright.contracts.bits import from_bytes
from tapewright.contracts.soft_bits import LOST, SoftBits

EVERY = [(3, rate) for rate in PATTERNS] + [(7, rate) for rate in PATTERNS]


def bits_of(text):
    return np.array([int(digit) for digit in text.replace(" ", "")], np.uint8)


def antipodal(bits):
    return 2.0 * bits - 1.0


def decoded(layer, values):
    return layer.decode((SoftBits(values),)).passes[0]


@pytest.mark.parametrize(
    ("data", "coded"),
    [
        ("101", "11 10 00 10 11"),  # B. Sklar, Digital Communications, the (7,5) example
        ("1", "11 10 11"),
        ("1011", "11 10 00 01 01 11"),
        ("1101", "11 01 01 00 10 11"),
        ("10011", "11 10 11 11 01 01 11"),
    ],
)
def test_short_constraint_matches_the_textbook(data, coded):
    assert np.array_equal(Convolutional(constraint_length=3).encode(bits_of(data)), bits_of(coded))


@pytest.mark.parametrize(
    ("data", "coded"),
    [
        (bits_of("1"), "11 10 11 11 00 01 11"),  # the impulse response is the two generators, 171 and 133 octal
        (from_bytes(b"\xa5"), "11 10 00 01 11 01 01 01 10 11 10 11 01 11"),
    ],
)
def test_long_constraint_matches_its_generators(data, coded):
    assert np.array_equal(Convolutional().encode(data), bits_of(coded))


@pytest.mark.parametrize(("constraint_length", "generators"), [(3, (0o7, 0o5)), (7, (0o117, 0o155))])
def test_encoder_agrees_with_a_general_library(constraint_length, generators):
    """komm writes generators with the newest bit lowest: 171 and 133 read backwards are 117 and 155."""
    data = np.random.default_rng(1).integers(0, 2, 400).astype(np.uint8)
    code = komm.TerminatedConvolutionalCode(komm.ConvolutionalCode([list(generators)]), 400, mode="zero-termination")
    assert np.array_equal(Convolutional(constraint_length=constraint_length).encode(data), code.encode(data))


def test_decoder_agrees_with_a_general_library():
    """Words so noisy that several bits come out wrong: both find the same most likely word."""
    code = komm.TerminatedConvolutionalCode(komm.ConvolutionalCode([[0o117, 0o155]]), 120, mode="zero-termination")
    rng = np.random.default_rng(2)
    wrong = 0
    for _ in range(6):
        data = rng.integers(0, 2, 120).astype(np.uint8)
        values = antipodal(Convolutional().encode(data)) + rng.normal(0, 1.1, 252)
        ours = decoded(Convolutional(), values).bits
        assert np.array_equal(ours, komm.ViterbiDecoder(code, input_type="soft").decode(-values))
        wrong += int((ours != data).sum())
    assert wrong > 10


@pytest.mark.parametrize(("constraint_length", "rate"), EVERY)
def test_finds_the_most_likely_word_and_by_how_much(constraint_length, rate):
    """Against every word of 9 bits: the best with each value of each bit, from pure noise with erasures."""
    layer = Convolutional(constraint_length=constraint_length, rate=rate)
    words = np.array(list(itertools.product((0, 1), repeat=9)), np.uint8)
    coded = np.array([layer.encode(word) for word in words])
    rng = np.random.default_rng(3)
    for _ in range(10):
        values = rng.normal(0, 2.0, coded.shape[1])
        values[rng.random(values.size) < 0.2] = 0
        metrics = antipodal(coded) @ values / 2
        wanted = [metrics[words[:, bit] == 1].max() - metrics[words[:, bit] == 0].max() for bit in range(9)]
        heard = decoded(layer, values)
        assert np.allclose(heard.values, wanted, atol=1e-4)
        sure = np.abs(wanted) > 1e-3  # erasures make ties
        assert np.array_equal(heard.bits[sure], words[np.argmax(metrics)][sure])


@pytest.mark.parametrize(
    ("rate", "distance"),
    [("1of2", 10), ("2of3", 6), ("3of4", 5), ("5of6", 4), ("7of8", 3)],  # EN 300 421, Table 2, from memory
)
def test_punctured_codes_have_their_published_free_distance(rate, distance):
    """The lightest word that starts at any step of the pattern, among data of up to 14 bits that start with a 1."""
    layer = Convolutional(rate=rate)
    period = len(PATTERNS[rate][0])
    lightest = math.inf
    for lead in range(period):
        for tail in range(1 << 13):
            data = np.zeros(lead + 14, np.uint8)
            data[lead:] = bits_of(f"1{tail:013b}")
            lightest = min(lightest, int(layer.encode(data).sum()))
        if period == 1:
            break
    assert lightest == distance


BOUND = {3: lambda d: (d - 4) * 2.0 ** (d - 5), 7: {10: 36, 12: 211, 14: 1404, 16: 11633, 18: 77433, 20: 502690}.get}
"""Bits wrong on paths of each weight: closed form for (7,5), a published table for (171,133)."""


def union_bound(constraint_length, snr_db):
    weights = range(5, 60) if constraint_length == 3 else range(10, 21, 2)
    energy = 10 ** (snr_db / 10)
    return sum(BOUND[constraint_length](d) * 0.5 * math.erfc(math.sqrt(d * 0.5 * energy)) for d in weights)


@pytest.mark.parametrize(
    ("constraint_length", "snr_db", "bits"),
    [
        *((3, 4, 200_000), (3, 5, 400_000), (3, 6, 1_000_000), (3, 7, 1_000_000)),
        *((7, 4, 1_000_000), (7, 5, 1_000_000), (7, 6, 400_000), (7, 7, 400_000)),
    ],
)
def test_error_rate_respects_the_union_bound(constraint_length, snr_db, bits):
    """Soft decoding of antipodal signals at an Eb/N0 of ``snr_db``.

    Null: the error rate is at most the union bound. Seed 4. Errors come in events of about 3 (K = 3) or 6 (K = 7)
    bits, so the count has a standard deviation of at most sqrt(6 expected) and a false alarm at 4 of them plus one
    event has a chance below 1e-4. That the bound is not met by far (a decoder that counts nothing wrong because it
    was told the data) is excluded from the other side where at least 30 errors are expected.
    """
    layer = Convolutional(constraint_length=constraint_length)
    rng = np.random.default_rng(4)
    data = rng.integers(0, 2, bits).astype(np.uint8)
    deviation = math.sqrt(1 / 10 ** (snr_db / 10))  # Es = 1 = Eb / 2, N0 / 2 = deviation**2
    values = antipodal(layer.encode(data)) + rng.normal(0, deviation, layer.coded_bits(bits))
    wrong = int((decoded(layer, values * 2 / deviation**2).bits != data).sum())
    expected = union_bound(constraint_length, snr_db) * bits
    assert wrong <= expected + 4 * math.sqrt(6 * expected) + 12
    if expected >= 30:
        assert wrong >= expected / 4


@pytest.mark.parametrize(("constraint_length", "rate"), EVERY)
def test_corrects_spread_errors_and_the_length_alone_tells_the_data(constraint_length, rate):
    layer = Convolutional(constraint_length=constraint_length, rate=rate)
    rng = np.random.default_rng(5)
    for count in (0, 1, 7, 8, 1023, 1024, 1025, 2500):
        data = rng.integers(0, 2, count).astype(np.uint8)
        coded = layer.encode(data)
        assert coded.size == layer.coded_bits(count)
        values = antipodal(coded) * 4
        values[9::40] *= -0.25
        heard = decoded(layer, values)
        assert np.array_equal(heard.bits, data)
        assert heard.values.size == count


@given(st.integers(0, 3000), st.sampled_from(EVERY))
def test_what_is_left_over_is_ignored(coded_bits, choice):
    layer = Convolutional(constraint_length=choice[0], rate=choice[1])
    heard = layer.decode((SoftBits(np.ones(coded_bits)),))
    data = len(heard.passes[0])
    if layer.coded_bits(0) > coded_bits:
        assert data == 0
        assert heard.events
    else:
        assert layer.coded_bits(data) <= coded_bits < layer.coded_bits(data + 1)


def test_erased_bits_count_for_neither_side():
    data = np.random.default_rng(6).integers(0, 2, 3000).astype(np.uint8)
    values = antipodal(Convolutional().encode(data)) * 5
    values[::5] = 0
    values[1000:1012] = 0  # d_free - 1 = 9 are always bridged; 12 in a row still are
    assert np.array_equal(decoded(Convolutional(), values).bits, data)
    assert np.abs(decoded(Convolutional(), np.zeros(6000)).values).max() <= LOST


def test_one_overconfident_bit_does_not_outweigh_a_word():
    values = -10.0 * np.ones(412)
    values[200] = 1e30
    assert not decoded(Convolutional(), values).bits.any()


def test_plays_are_added_up():
    layer = Convolutional(rate="3of4")
    rng = np.random.default_rng(7)
    data = rng.integers(0, 2, 2000).astype(np.uint8)
    plays = [SoftBits(antipodal(layer.encode(data)) + rng.normal(0, 1.0, layer.coded_bits(2000))) for _ in range(3)]
    wrong_alone = (layer.decode(plays[:1]).passes[0].bits != data).sum()
    together = layer.decode(tuple(plays))
    assert len(together.passes) == 1
    assert (together.passes[0].bits != data).sum() < wrong_alone / 10


def test_each_bit_keeps_its_time():
    layer = Convolutional()
    coded = layer.encode(np.ones(100, np.uint8))
    times = layer.decode((SoftBits(antipodal(coded), np.arange(coded.size)),)).passes[0].times_s
    assert np.array_equal(times, 2 * np.arange(100) + 1)
