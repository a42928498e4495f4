"""Likelihoods of single pulses: their size, what counts as not heard, and freedom of scale."""

import numpy as np
import pytest
from tapewright.codecs.line_codes.pulse_detection import likelihoods, running_mean, same_sign, together


def falls(count, seed, noise):
    rng = np.random.default_rng(seed)
    signs = rng.choice([-1.0, 1.0], count)
    return signs, (signs + rng.normal(0, noise, count)).astype(np.float32)


def test_they_are_twice_amplitude_times_value_over_variance():
    """Gaussian noise of 0.4 on pulses of 1: 2 y / 0.16. Medians over 5,000 have relative s.e. below 2 %."""
    _, heard = falls(5000, 1, 0.4)
    assert np.median(likelihoods(heard, 300) / (2 * heard / 0.16)) == pytest.approx(1, abs=0.1)


def test_what_is_far_down_is_exactly_nothing():
    _, heard = falls(1400, 2, 0.002)
    heard[400:1000] *= 0.07
    heard[1100:1200] *= 0.2
    ratios = likelihoods(heard, 600)
    assert not ratios[404:996].any()
    assert ratios[1104:1196].all()
    assert ratios[:390].all()


def test_scale_does_not_matter():
    _, heard = falls(500, 3, 0.3)
    assert likelihoods(heard * np.float32(1e-20), 200) == pytest.approx(likelihoods(heard, 200), rel=1e-4)


def test_no_pulses_and_silence_give_nothing():
    assert likelihoods(np.zeros(0, np.float32), 100).size == 0
    assert not likelihoods(np.zeros(50, np.float32), 100).any()
    assert same_sign(np.zeros(1)).size == 0


def test_long_silence_between_pulses_is_exactly_nothing():
    _, heard = falls(2000, 6, 0.1)
    heard[500:1500] = 0
    ratios = likelihoods(heard, 128)
    assert not ratios[510:1490].any()
    assert ratios[:490].all()
    assert ratios[1510:].all()


def test_one_unknown_pulse_makes_both_its_bits_unknown():
    assert same_sign(np.array([20.0, 0.0, -20.0])).tolist() == [0.0, 0.0]


@pytest.mark.parametrize("kind", [np.float32, np.float64])
@pytest.mark.parametrize(("size", "reach"), [(1, 4), (8, 4), (9, 4), (10, 4), (300, 12), (300, 96), (150, 96)])
def test_a_running_mean_has_fewer_neighbours_at_the_ends(kind, size, reach):
    values = np.random.default_rng(size).normal(0, 1, size).astype(kind)
    wanted = [values[max(k - reach, 0) : k + reach + 1].mean(dtype=np.float64) for k in range(size)]
    means = running_mean(values, reach)
    assert means.dtype == kind
    assert means == pytest.approx(wanted, abs=1e-6)


def test_a_small_value_beside_a_large_one_keeps_its_mean():
    values = np.concatenate((np.full(50, 1e6), np.full(50, 1e-6))).astype(np.float32)
    assert running_mean(values, 4)[60] == pytest.approx(1e-6)


def test_equal_signs_are_told_as_chances_say():
    """By the four chances themselves, in double precision."""
    ratios = np.random.default_rng(4).normal(0, 6, 400)
    chances = 1 / (1 + np.exp(-ratios))
    a, b = chances[:-1], chances[1:]
    wanted = np.log((a * b + (1 - a) * (1 - b)) / (a * (1 - b) + (1 - a) * b))
    assert same_sign(ratios.astype(np.float32)) == pytest.approx(wanted, abs=1e-3)
    assert np.isfinite(same_sign(np.array([3e4, -3e4, 3e4], np.float32))).all()


@pytest.mark.parametrize("shift", [-2, -1, 0, 1, 2])
@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize("count", [200, 30_000])
def test_tracks_are_laid_on_each_other(shift, sign, count):
    left = np.random.default_rng(5).normal(0, 5, count).astype(np.float32)
    right = sign * np.roll(left, shift)
    inner = slice(2, -2)
    assert together(left, right)[inner] == pytest.approx(2 * left[inner])
