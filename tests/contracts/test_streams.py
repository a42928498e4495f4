"""Random streams: a function of their key alone, and independent of each other."""

import hashlib
import itertools
import struct

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tapewright.contracts.channel_model import Channel, ChannelModel
from tapewright.contracts.errors import UsageError
from tapewright.contracts.signal import Signal
from tapewright.contracts.streams import stream, substream

KEYS = st.tuples(st.integers(0, 2**140), st.integers(0, 2**70), st.text(max_size=12))


@given(
    root=st.lists(st.one_of(st.just(0), st.integers(0, 2**32 - 1)), max_size=6).map(tuple),
    name=st.text(max_size=8),
    repeat=st.integers(0, 2**32 - 1),
)
def test_a_substream_is_numpys_own_spawn_of_its_words(root, name, repeat):
    words = struct.unpack(">4I", hashlib.blake2b(name.encode(), digest_size=16).digest())
    numpys = np.random.SeedSequence(entropy=root, spawn_key=(repeat, *words))
    assert np.random.Generator(np.random.Philox(numpys)).bytes(16) == substream(root, name, repeat).bytes(16)


@given(key=KEYS)
def test_a_stream_is_numpys_own_spawn_of_its_words(key):
    seed, trial, name = key
    words = struct.unpack(">4I", hashlib.blake2b(name.encode(), digest_size=16).digest())
    numpys = np.random.SeedSequence(entropy=seed, spawn_key=(trial, *words))
    assert np.random.Generator(np.random.Philox(numpys)).bytes(16) == stream(seed, trial, name).bytes(16)


@given(st.lists(KEYS, min_size=2, max_size=6, unique=True), st.randoms(use_true_random=False))
def test_a_stream_is_a_function_of_its_key_whatever_the_order(keys, shuffler):
    once = {key: stream(*key).bytes(16) for key in keys}
    shuffler.shuffle(keys)
    assert {key: stream(*key).bytes(16) for key in keys} == once
    assert len(set(once.values())) == len(keys)


def test_the_stream_is_the_one_it_was():
    """Written down once, with numpy 2.4, whose raw streams are promised to stay: a change here changes every result."""
    assert stream(1, 2, "channel").bit_generator.random_raw(2).tolist() == PINNED


PINNED = [2344581905491091626, 8889761751380777182]


def test_neighbouring_streams_are_independent():
    """Every pair of 24 streams with neighbouring seeds, trials and names is uncorrelated.

    Null: independent standard normals, N = 20,000 each, so that r has a standard deviation of 1/sqrt(N) = 0.0071;
    276 pairs at 5.5 sigma: false alarm below 276 * 4e-8 = 1e-5 (and the keys are fixed, so once).
    """
    keys = itertools.product((0, 1, 2), (0, 1), ("hiss", "hisS", "drift", "hiss2"))
    draws = np.stack([stream(*key).standard_normal(20_000) for key in keys])
    likeness = np.corrcoef(draws) - np.eye(len(draws))
    assert np.abs(likeness).max() < 5.5 / np.sqrt(20_000)


def test_a_stream_is_not_its_neighbour_shifted():
    """Two streams of one generator at different offsets would correlate at some lag: null, N and bound as above."""
    one, other = (stream(7, trial, "hiss").standard_normal(4_096) for trial in (0, 1))
    lags = np.fft.irfft(np.fft.rfft(one, 8_192) * np.conj(np.fft.rfft(other, 8_192)))
    assert np.abs(lags).max() < 7 * np.sqrt(4_096)


@pytest.mark.parametrize(("seed", "trial"), [(-1, 0), (0, -1), (1.5, 0), ("1", 0), (None, 0), (True, 0)])
def test_another_key_is_a_usage_error(seed, trial):
    with pytest.raises(UsageError, match="must be a whole number of at least 0, not"):
        stream(seed, trial, "x")


def test_numpy_whole_numbers_are_keys_too():
    assert stream(np.int64(3), np.uint8(4), "x").random() == stream(3, 4, "x").random()


def test_substreams_differ_by_root_name_and_repeat():
    keys = [((1, 2, 3, 4), "a", 0), ((1, 2, 3, 4), "a", 1), ((1, 2, 3, 4), "b", 0), ((1, 2, 3, 5), "a", 0)]
    firsts = [substream(*key).random() for key in keys]
    assert len(set(firsts)) == 4
    assert firsts == [substream(*key).random() for key in keys]


class _Noting(ChannelModel):
    """Draws one number and writes it on the tape."""

    place = "tape"

    def degrade(self, signal, rng):
        return Signal(signal.samples + np.float32(rng.random()), signal.sample_rate_hz)

    @classmethod
    def nothing(cls):
        return cls()


class _Hum(_Noting):
    name = "hum"


class _Murmur(_Noting):
    name = "murmur"


def _shift(*stages):
    silent = Signal(np.zeros((2, 1)), 8_000)
    return round(float(Channel(stages).degrade(silent, stream(1, 1, "channel")).samples[0, 0]), 5)


def test_a_stage_draws_the_same_whatever_stands_before_it():
    hum, murmur = _shift(_Hum()), _shift(_Murmur())
    assert hum != murmur
    assert _shift(_Hum(), _Murmur()) == _shift(_Murmur(), _Hum()) == pytest.approx(hum + murmur, abs=2e-5)
    assert _shift(_Hum(), _Hum()) != pytest.approx(2 * hum, abs=1e-3)
