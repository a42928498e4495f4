"""Noise and hum of a silent stretch."""

from __future__ import annotations

import numpy as np
import pytest
from tapewright.measurement.silence import noise

RATE_HZ = 44_100


def hiss(seed: int, sigma: float, seconds: float = 20.0) -> np.ndarray:
    return (sigma * np.random.default_rng(seed).standard_normal(round(seconds * RATE_HZ))).astype(np.float32)


def test_flat_noise_is_read_from_20_hz_to_20_khz() -> None:
    heard = noise(hiss(1, 0.01) + np.float32(0.1), RATE_HZ)
    assert heard is not None
    expected = 1e-4 * (20_000 - 20) / (RATE_HZ / 2)
    # Null: the mean of chi-squared powers, B T = 400,000: relative s.e. 0.16 %; 6 of them.
    assert heard.flat.mean() == pytest.approx(expected, rel=0.01)
    assert heard.mains_hz is None
    assert heard.density_at(1000.0) == pytest.approx(1e-4 / (RATE_HZ / 2), rel=0.2)


def test_a_tone_of_1_khz_reads_the_same_with_a_weighting() -> None:
    times = np.arange(10 * RATE_HZ) / RATE_HZ
    heard = noise((0.1 * np.sin(2 * np.pi * 1000 * times)).astype(np.float32), RATE_HZ)
    assert heard is not None
    assert heard.flat.mean() == pytest.approx(0.005, rel=1e-3)
    assert heard.weighted.mean() == pytest.approx(0.005, rel=1e-3)


@pytest.mark.parametrize("mains_hz", [49.9, 50.0, 60.0])
def test_hum_is_found_measured_and_left_out_of_the_noise(mains_hz: float) -> None:
    times = np.arange(20 * RATE_HZ) / RATE_HZ
    hum = 0.003 * np.sin(2 * np.pi * mains_hz * times) + 0.001 * np.sin(2 * np.pi * 3 * mains_hz * times + 1)
    plain, humming = (noise(row, RATE_HZ) for row in (hiss(2, 0.01), hiss(2, 0.01) + hum.astype(np.float32)))
    assert plain is not None
    assert humming is not None
    assert humming.mains_hz == round(mains_hz)
    expected = (0.003**2 + 0.001**2) / 2
    assert abs(humming.hum - expected) < 5 * humming.hum_error
    assert humming.hum == pytest.approx(expected, rel=0.1)
    assert humming.flat.mean() == pytest.approx(plain.flat.mean(), rel=0.002)


def test_noise_alone_seldom_hums() -> None:
    # Null: 16 lines of some three independent bins each stand 8 times out with e^-8 each: 1.6 % a capture, N = 30,
    # seeds 10 to 39: more than 5 have a chance below 1e-5.
    found = [noise(hiss(seed, 0.01, 6.0), RATE_HZ) for seed in range(10, 40)]
    assert sum(one is not None and one.mains_hz is not None for one in found) <= 5


def test_hum_s_error_is_honest() -> None:
    # Null: the error is the standard error; seeds 0 to 59, N = 60: rms of z is 1 with s.e. 9 %; 5 of them.
    times = np.arange(10 * RATE_HZ) / RATE_HZ
    hum = (0.002 * np.sin(2 * np.pi * 50 * times)).astype(np.float32)
    scores = []
    for seed in range(60):
        heard = noise(hiss(seed, 0.01, 10.0) + hum, RATE_HZ)
        assert heard is not None
        scores.append((heard.hum - 0.002**2 / 2) / heard.hum_error)
    assert np.sqrt(np.mean(np.square(scores))) == pytest.approx(1.0, abs=0.45)


def test_less_than_two_seconds_are_too_short() -> None:
    assert noise(hiss(1, 0.01, 1.9), RATE_HZ) is None
