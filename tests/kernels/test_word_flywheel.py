"""The flywheel on tracks whose windows are drawn directly, without any sound."""

import numpy as np
import pytest
from numpy.typing import NDArray
from tapewright.kernels.word_flywheel import follow_words

BIT = 8.0
PATTERN = np.array([-1] + [0] * 8 + [1] * 2, np.int8)


def windows(line: NDArray[np.int64], offset: float, bit: float = BIT) -> NDArray[np.float32]:
    """Bit-long windows from every hop over line bits (+1 mark, -1 space), mark before and after them.

    A window that straddles two bits holds the share of each: amplitude at the tones in proportion, as a correlator has.
    """
    hops = np.arange(int(offset + bit * (line.size + 4)))
    padded = np.concatenate([[1], line, [1, 1, 1, 1, 1, 1]])
    edge = (hops - offset) / bit + 1
    first = np.clip(np.floor(edge).astype(int), 0, padded.size - 2)
    share = np.where(edge < 0, 0.0, edge - np.floor(edge))
    return (20.0 * ((1 - share) * padded[first] + share * padded[first + 1])).astype(np.float32)


def words(count: int, seed: int) -> NDArray[np.int64]:
    line = np.tile(PATTERN.astype(np.int64), (count, 1))
    line[:, 1:9] = 2 * np.random.default_rng(seed).integers(0, 2, (count, 8)) - 1
    return line


def follow(told: NDArray[np.float32], pattern: NDArray[np.int8] = PATTERN, start: float = -1.0) -> NDArray[np.float64]:
    starts, fits = np.empty(500), np.empty(500, np.float32)
    count = follow_words(np.clip(told, -6, 6), told, pattern, BIT, start, starts, fits)
    return starts[:count]


@pytest.mark.parametrize("bit", [7.88, 8.0, 8.12])
def test_every_word_is_found_at_its_place(bit: float) -> None:
    """A 1.5 % slower or faster tape than told included: 0.3 bit is what the correlators live with."""
    starts = follow(windows(words(60, 1).ravel(), 801.3, bit))
    assert starts.size == 60
    assert np.abs(starts - (801.3 + 11 * bit * np.arange(60))).max() < 0.3 * BIT


def test_idling_of_any_length_between_words() -> None:
    rng = np.random.default_rng(2)
    line, expected, place = [], [], 0
    for word in words(50, 3):
        pause = int(rng.integers(0, 40))
        line += [1] * pause + word.tolist()
        expected.append(place + pause)
        place += pause + 11
    starts = follow(windows(np.array(line), 801.0))
    assert starts.size == 50
    assert np.abs((starts - 801.0) / BIT - expected).max() < 0.3


def test_words_in_a_hole_are_counted() -> None:
    told = windows(words(60, 4).ravel(), 801.0)
    told[2000:2900] = 0.0
    starts = follow(told)
    assert starts.size == 60
    assert np.abs(starts - (801.0 + 88 * np.arange(60))).max() < 0.3 * BIT


def test_noise_holds_no_words() -> None:
    """Log ratios of two exponential powers are logistic. Null: a run starts at none of 20,000 bits (seed 5)."""
    rng = np.random.default_rng(5)
    told = np.repeat(rng.logistic(0, 1, 20_000), 8).astype(np.float32)
    assert follow(told).size <= 1


def test_a_stream_without_frames_is_followed_from_its_start() -> None:
    line = 2 * np.random.default_rng(6).integers(0, 2, 800) - 1
    starts = follow(windows(line, 80.0), np.zeros(8, np.int8), 81.5)
    assert starts.size >= 100
    assert np.abs(starts[2:100] - (80.0 + 64.0 * np.arange(2, 100))).max() < 0.15 * BIT


def test_an_empty_track_holds_nothing() -> None:
    assert follow(np.empty(0, np.float32)).size == 0
    assert follow(np.zeros(5000, np.float32)).size == 0
