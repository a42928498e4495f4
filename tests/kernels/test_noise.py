"""Noise against the published generator, the plain transform and the normal law."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats
from tapewright.kernels.noise import BLOCK_FRAMES, add_noise, philox_block

HALF = BLOCK_FRAMES // 2
KEY = (0x8F3A11C7, 0x02D4E6B9, 0x51C0FFEE, 0x7A11B0A7)


def philox(bits, counter, key):
    """Philox4xN-10 as Salmon, Moraes, Dror and Shaw (SC 2011) give it, in whole numbers, for words of 32 or 64 bits."""
    multipliers = {32: (0xD2511F53, 0xCD9E8D57), 64: (0xD2E7470EE14C6C93, 0xCA5A826395121157)}[bits]
    steps = {32: (0x9E3779B9, 0xBB67AE85), 64: (0x9E3779B97F4A7C15, 0xBB67AE8584CAA73B)}[bits]
    mask = (1 << bits) - 1
    c, k = list(counter), list(key)
    for _ in range(10):
        first, second = multipliers[0] * c[0], multipliers[1] * c[2]
        c = [(second >> bits) ^ c[1] ^ k[0], second & mask, (first >> bits) ^ c[3] ^ k[1], first & mask]
        k = [(k[0] + steps[0]) & mask, (k[1] + steps[1]) & mask]
    return tuple(c)


def words_at(place, key, upper, function=philox_block):
    """The four words of one counter, as the kernel has them."""
    first, second = np.empty(BLOCK_FRAMES, np.uint32), np.empty(BLOCK_FRAMES, np.uint32)
    block, i = divmod(place, HALF)
    function(first, second, *(np.uint64(word) for word in (block, *key, *upper)))
    return tuple(int(word) for word in (first[i], second[i], first[i + HALF], second[i + HALF]))


def noise(frames, key=KEY, first_block=0, sigma=1.0):
    rows = np.zeros((2, frames), np.float32)
    add_noise(rows[0], rows[1], first_block, *(np.uint64(word) for word in key), np.float32(sigma))
    return rows


@given(seed=st.integers(0, 2**32 - 1))
def test_reference_agrees_with_numpy_philox(seed):
    # numpy has the 64-bit form of the same construction; it counts up before it gives its first words.
    counter, key = np.random.default_rng(seed).integers(0, 2**63, 6, dtype=np.uint64).reshape(2, 3)
    start = (*counter, np.uint64(7))
    generator = np.random.Philox(counter=np.array(start), key=key[:2])
    wanted = philox(64, (int(start[0]) + 1, *map(int, start[1:])), tuple(map(int, key[:2])))
    assert tuple(map(int, generator.random_raw(4))) == wanted


@pytest.mark.parametrize(
    ("counter", "key", "wanted"),
    [  # the known answers of the authors' library for philox4x32-10, from memory
        ((0, 0, 0, 0), (0, 0), (0x6627E8D5, 0xE169C58D, 0xBC57AC4C, 0x9B00DBD8)),
        ((0xFFFFFFFF,) * 4, (0xFFFFFFFF,) * 2, (0x408F276D, 0x41C83B0E, 0xA20BC7C6, 0x6D5451FD)),
        (
            (0x243F6A88, 0x85A308D3, 0x13198A2E, 0x03707344),
            (0xA4093822, 0x299F31D0),
            (0xD16CFE09, 0x94FDCCEB, 0x5001E420, 0x24126EA1),
        ),
    ],
)
def test_words_are_the_published_ones(counter, key, wanted):
    place = counter[0] | counter[1] << 32
    assert words_at(place, key, counter[2:]) == wanted
    assert philox(32, counter, key) == wanted


@given(place=st.integers(0, 2**64 - 1), key=st.tuples(*[st.integers(0, 2**32 - 1)] * 4))
def test_words_are_those_of_the_plain_reference(place, key):
    counter = (place & 0xFFFFFFFF, place >> 32, *key[2:])
    assert words_at(place, key[:2], key[2:]) == philox(32, counter, key[:2])


def box_muller(key, frames):
    """The transform in double precision from the same words."""
    blocks = -(-frames // BLOCK_FRAMES)
    first, second = np.empty((blocks, BLOCK_FRAMES), np.uint32), np.empty((blocks, BLOCK_FRAMES), np.uint32)
    for block in range(blocks):
        philox_block(first[block], second[block], *(np.uint64(word) for word in (block, *key)))
    radius = np.sqrt(-2 * np.log((first.ravel() + 0.5) / 2**32))
    angle = 2 * np.pi * second.ravel().astype(np.int32) / 2**32
    return np.stack((radius * np.sin(angle), radius * np.cos(angle)))[:, :frames]


def test_transform_is_that_of_double_precision():
    # The words near 2^32 round to 1 in single precision: there the radius is off by 2^-12 at most.
    assert np.abs(noise(200_000) - box_muller(KEY, 200_000)).max() < 3e-4
    assert np.abs(noise(200_000) - box_muller(KEY, 200_000)).mean() < 2e-6


def test_compiled_and_plain_python_agree():
    rows = np.zeros((2, 5000), np.float32)
    add_noise.py_func(rows[0], rows[1], 2, *(np.uint64(word) for word in KEY), np.float32(0.5))
    assert np.abs(rows - noise(5000, first_block=2, sigma=0.5)).max() < 1e-4
    assert words_at(12_345, KEY[:2], KEY[2:], philox_block.py_func) == words_at(12_345, KEY[:2], KEY[2:])


def test_place_on_the_grid_is_all_that_matters():
    whole = noise(5 * BLOCK_FRAMES)
    assert np.array_equal(whole[:, 2 * BLOCK_FRAMES :], noise(3 * BLOCK_FRAMES, first_block=2))
    for frames in (0, 1, 7, 4095, 4097, 10_001):
        assert np.array_equal(whole[:, :frames], noise(frames))


def test_noise_is_added_and_scaled():
    rows = np.full((2, 1000), 0.25, np.float32)
    add_noise(rows[0], rows[1], 0, *(np.uint64(word) for word in KEY), np.float32(0.1))
    assert np.allclose(rows - 0.25, 0.1 * noise(1000), atol=1e-7)


def test_marginal_law_is_normal():
    # Null: 2 x 2^20 independent standard normal numbers; the key is fixed. Four moments, each within 5 s.e.
    # (s.e. of the first four sample moments: sqrt(1, 2, 15, 96) / sqrt(N)); Kolmogorov-Smirnov at 1e-6.
    # False alarm: below 4e-6 in all.
    x = noise(1 << 20).ravel().astype(np.float64)
    for power, expected, variance in ((1, 0, 1), (2, 1, 2), (3, 0, 15), (4, 3, 96)):
        assert abs((x**power).mean() - expected) < 5 * np.sqrt(variance / x.size)
    assert stats.kstest(x, "norm").pvalue > 1e-6


def test_tail_reaches_beyond_five_deviations():
    # Null: standard normal; 2 x 2^23 numbers, of which 9.6 beyond 5 are expected (Poisson): fewer than 1 has chance
    # 7e-5, more than 30 has 1e-8. The key is fixed.
    beyond = int((np.abs(noise(1 << 23)) > 5).sum())
    assert 1 <= beyond <= 30


def correlation(x, y):
    """Correlation times the square root of N: standard normal if x and y are independent."""
    x, y = x.astype(np.float64), y.astype(np.float64)
    return float((x * y).sum() / np.sqrt((x * x).sum() * (y * y).sum()) * np.sqrt(x.size))


@pytest.mark.parametrize("function", [lambda x: x, lambda x: x * x - 1], ids=["values", "powers"])
def test_neighbouring_streams_tracks_and_lags_are_independent(function):
    # Null: independent standard normal numbers. N = 2^18 frames, 5 s.e. each, 2 x 24 correlations, keys fixed:
    # false alarm 3e-5 in all.
    frames = 1 << 18
    here = function(noise(frames))
    found = {"tracks": correlation(here[0], here[1])}
    for word in range(4):
        for step in (1, 1 << 31):
            key = list(KEY)
            key[word] ^= step
            there = function(noise(frames, tuple(key)))
            found |= {f"word {word} {step:x} {a}{b}": correlation(here[a], there[b]) for a, b in ((0, 0), (1, 0))}
    for lag in (1, 2, HALF, BLOCK_FRAMES):
        found[f"lag {lag}"] = correlation(here[0, lag:], here[0, :-lag])
        found[f"lag {lag} across"] = correlation(here[0, lag:], here[1, :-lag])
    assert {what: value for what, value in found.items() if abs(value) > 5} == {}


def test_no_two_of_many_tapes_are_alike():
    # Null: independent. 200 neighbouring keys, 256 frames: 19,900 pairs of N = 512; the largest of that many standard
    # normal numbers exceeds 6 with chance 4e-5. Keys fixed.
    tapes = np.stack([noise(256, (i, 0, 0, 0)).ravel() for i in range(200)]).astype(np.float64)
    tapes /= np.sqrt((tapes**2).sum(axis=1, keepdims=True))
    likeness = np.abs(tapes @ tapes.T - np.eye(200)) * np.sqrt(512)
    assert likeness.max() < 6
