import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tapewright.codecs.layers.crc import Crc
from tapewright.codecs.layers.cyclic_redundancy import ALGORITHMS
from tapewright.contracts.bits import from_bytes, to_bytes
from tapewright.contracts.errors import UsageError
from tapewright.contracts.soft_bits import CERTAIN, SoftBits


def some_bits(length, seed=0):
    return np.random.default_rng(seed).integers(0, 2, length, dtype=np.uint8)


@pytest.mark.parametrize("algorithm", ALGORITHMS)
@pytest.mark.parametrize("length", [0, 1, 8, 13, 800])
def test_round_trips(algorithm, length):
    layer, bits = Crc(algorithm=algorithm), some_bits(length)
    coded = layer.encode(bits)
    assert coded.size == layer.coded_bits(length)
    heard = layer.decode((SoftBits(np.where(coded, 0.5, -0.5), np.arange(coded.size)),))
    assert heard.verdict is True
    assert np.array_equal(heard.passes[0].bits, bits)
    assert np.all(np.abs(heard.passes[0].values) == CERTAIN)
    assert heard.passes[0].times_s.tolist() == list(range(length))


def test_sends_the_catalogues_value_after_the_data():
    coded = Crc(algorithm="crc-16-ibm-3740").encode(from_bytes(b"123456789"))
    assert to_bytes(coded) == b"123456789" + bytes.fromhex("29b1")


@given(st.integers(0, 2**32 - 1), st.integers(0, 8 * 40 + 15))
def test_every_single_wrong_bit_is_noticed(seed, place):
    layer = Crc()
    coded = layer.encode(some_bits(320, seed))
    coded[place] ^= 1
    heard = layer.decode((SoftBits.certain(coded),))
    assert heard.verdict is False
    assert len(heard.passes[0]) == 320
    assert heard.events


def test_the_pass_that_checks_wins():
    layer, bits = Crc(), some_bits(160)
    good = np.where(layer.encode(bits), 1.0, -1.0)
    loud_and_wrong = 20 * good
    loud_and_wrong[[3, 50]] *= -1
    heard = layer.decode((SoftBits(loud_and_wrong), SoftBits(good)))
    assert heard.verdict is True
    assert len(heard.passes) == 1
    assert np.array_equal(heard.passes[0].bits, bits)


def test_passes_damaged_elsewhere_are_added():
    layer, bits = Crc(), some_bits(160)
    first = np.where(layer.encode(bits), 3.0, -3.0)
    second = first.copy()
    first[:20] *= -0.2
    second[60:80] *= -0.2
    assert layer.decode((SoftBits(first),)).verdict is False
    assert layer.decode((SoftBits(second),)).verdict is False
    heard = layer.decode((SoftBits(first), SoftBits(second)))
    assert heard.verdict is True
    assert np.array_equal(heard.passes[0].bits, bits)


def test_a_few_bits_too_many_after_the_last_byte_do_not_matter():
    layer, bits = Crc(), some_bits(160)
    coded = np.concatenate([layer.encode(bits), some_bits(5)])
    heard = layer.decode((SoftBits.certain(coded),))
    assert heard.verdict is True
    assert np.array_equal(heard.passes[0].bits, bits)


@pytest.mark.parametrize("width", [8, 16, 32])
def test_decode_is_total(width):
    layer = Crc(algorithm={8: "crc-8-smbus", 16: "crc-16-arc", 32: "crc-32-iscsi"}[width])
    for length in (0, 1, width - 1):
        heard = layer.decode((SoftBits(np.ones(length)),))
        assert heard.verdict is False
        assert len(heard.passes[0]) == 0
    assert layer.decode(()).verdict is False
    rng = np.random.default_rng(width)
    unequal = layer.decode((SoftBits(rng.normal(size=70)), SoftBits(rng.normal(size=90))))
    assert unequal.verdict is False
    assert [len(heard) for heard in unequal.passes] == [70 - width, 90 - width]


@pytest.mark.parametrize("algorithm", ALGORITHMS)
def test_silence_is_not_intact(algorithm):
    # Zeros are a codeword of every check that starts from zero.
    assert Crc(algorithm=algorithm).decode((SoftBits(np.zeros(400)),)).verdict is False


def test_accepts_noise_as_often_as_its_width_says():
    # Null: a random word passes an 8-bit check with chance 2^-8. Seed 23, N = 20,000 words of 5 whole bytes: mean 78.1,
    # s.d. 8.8; the bounds are 5 s.d. on either side, a false alarm once in 1.7 million runs.
    layer, rng = Crc(algorithm="crc-8-autosar"), np.random.default_rng(23)
    accepted = sum(bool(layer.decode((SoftBits(rng.normal(size=40)),)).verdict) for _ in range(20_000))
    assert 34 <= accepted <= 122


def test_an_unknown_algorithm_is_refused_with_the_list():
    with pytest.raises(UsageError, match=r"'algorithm' must be one of crc-8-smbus, .* not crc-99\."):
        Crc(algorithm="crc-99")
