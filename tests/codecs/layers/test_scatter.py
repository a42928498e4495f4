import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tapewright.codecs.layers.scatter import Scatter, hashes
from tapewright.contracts.soft_bits import SoftBits


def test_hash_is_the_published_generator():
    """First outputs of SplitMix64 from seed 0, as its reference code prints them (from memory, in many test suites)."""
    assert [f"{value:016x}" for value in hashes(3).tolist()] == [
        "e220a8397b1dcdaf",
        "6e789e6aa1b965f4",
        "06c45d188009454f",
    ]


@given(st.integers(0, 3000))
def test_round_trips_for_any_length(length):
    places = np.arange(length)
    bits = np.random.default_rng(length).integers(0, 2, length).astype(np.uint8)
    coded = Scatter().encode(bits)
    assert coded.size == Scatter().coded_bits(length) == length
    heard = Scatter().decode((SoftBits(2.0 * coded - 1, Scatter().encode(places)),)).passes[0]
    assert np.array_equal(heard.bits, bits)
    assert np.array_equal(heard.times_s, places)


@pytest.mark.parametrize("burst", [100, 1000])
def test_a_burst_is_shared_out(burst):
    """Null: which bits a burst hits is chance. 20,000 bits, any burst at any multiple of its length.

    A run of 64 neighbouring data bits then loses 64 burst / 20,000 of them on average, Poisson: at most 12 of 3.2
    (chance 4e-5 a window, 312 windows) for 1,000 and at most 6 of 0.32 for 100 (3e-7).
    """
    coded = Scatter().encode(np.arange(20_000))
    for start in range(0, 20_000, 5 * burst):
        hit = np.zeros(20_000, bool)
        hit[coded[start : start + burst]] = True
        windows = hit[: 312 * 64].reshape(312, 64).sum(axis=1)
        assert windows.max() <= (12 if burst == 1000 else 6)


def test_maps_each_pass():
    passes = (SoftBits(np.ones(80)), SoftBits(np.ones(33)), SoftBits([]))
    assert [len(heard) for heard in Scatter().decode(passes).passes] == [80, 33, 0]
