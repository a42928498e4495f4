"""Skew: a delay of the right track that keeps the tone clean."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tapewright.channel_models.skew import Skew
from tapewright.contracts.signal import Signal

RATE_HZ = 44_100


def tone(hertz, frames=30_000):
    return Signal(np.sin(2 * np.pi * hertz / RATE_HZ * np.arange(frames)), RATE_HZ)


@pytest.mark.parametrize("skew_us", [82.5, -82.5, 11.3, 0.2, -5000.0, 5000.0])
def test_ten_kilohertz_keeps_65_db(skew_us):
    # 82.5 us is 15 arcmin over 0.9 mm at 47.6 mm/s (geometry).
    sent = tone(10_000)
    heard = Skew(skew_us=skew_us).degrade(sent, np.random.default_rng(0))
    wanted = np.sin(2 * np.pi * 10_000 * (np.arange(30_000) / RATE_HZ - skew_us * 1e-6))
    inner = slice(300, -300)
    assert 10 * np.log10(0.5 / np.mean((heard.samples[1] - wanted)[inner] ** 2)) >= 65
    assert np.array_equal(heard.samples[0], sent.samples[0])
    assert heard.frames == sent.frames


@given(seed=st.integers(0, 2**32 - 1), wander_us=st.floats(1.0, 200.0))
def test_wander_stays_within_its_size(seed, wander_us):
    # The delay as read off a 1 kHz quadrature pair: phase over frequency, with the interpolation's 70 dB as error.
    turns = 2 * np.pi * 1000 / RATE_HZ * np.arange(RATE_HZ)
    heard = Skew(wander_us=wander_us).degrade(Signal(np.sin(turns), RATE_HZ), np.random.default_rng(seed)).samples[1]
    quadrature = Skew(wander_us=wander_us).degrade(Signal(np.cos(turns), RATE_HZ), np.random.default_rng(seed))
    phase = np.angle((quadrature.samples[1] + 1j * heard) * np.exp(-1j * turns))[200:-200]
    assert np.abs(phase / (2 * np.pi * 1000) * 1e6).max() < wander_us / 2 + 0.3


def test_drawn_skew_has_its_deviation():
    # Null: Gaussian of s.d. 44 us truncated at 2.5 s.d., whose s.d. is 0.949 of that (closed form:
    # sqrt(1 - 5 phi(2.5) / (2 Phi(2.5) - 1))). 400 tapes, seeds 0 to 399: s.e. 3.3 %; 5 s.e. False alarm 6e-7.
    model = Skew(skew_us_sd=44.0)
    turns = 2 * np.pi * 2000 / RATE_HZ * np.arange(2000)
    sent = Signal(np.sin(turns), RATE_HZ)
    skews = []
    for seed in range(400):
        right = model.degrade(sent, np.random.default_rng(seed)).samples[1]
        window = np.hanning(1500) * np.exp(-1j * turns[250:1750])
        skews.append(-np.angle(1j * (right[250:1750] * window).sum()) / (2 * np.pi * 2000) * 1e6)
    assert np.abs(skews).max() < 2.5 * 44 + 0.5
    assert abs(np.std(skews) / (0.949 * 44) - 1) < 5 * 0.033


def test_longer_tape_starts_the_same():
    model = Skew(skew_us=-100.0, skew_us_sd=30.0, wander_us=20.0)
    sound = np.random.default_rng(1).uniform(-1, 1, (2, 60_000))
    long = model.degrade(Signal(sound, RATE_HZ), np.random.default_rng(2)).samples
    for frames in (50, 4096, 33_333):
        short = model.degrade(Signal(sound[:, :frames], RATE_HZ), np.random.default_rng(2)).samples
        same = frames - 20
        assert np.array_equal(short[:, :same], long[:, :same])


@pytest.mark.parametrize("skew_us", [700.0, -700.0])
def test_pieces_of_a_long_tape_meet_without_a_seam(skew_us):
    # The tape is worked on in pieces of 131,072 frames: no sample of a tone of 3 kHz is off by more than the
    # interpolation's 60 dB, on three of them.
    frames = 300_000
    heard = Skew(skew_us=skew_us).degrade(tone(3000, frames), np.random.default_rng(0)).samples[1]
    wanted = np.sin(2 * np.pi * 3000 * (np.arange(frames) / RATE_HZ - skew_us * 1e-6))
    assert np.abs(heard - wanted)[50:-50].max() < 1e-3
