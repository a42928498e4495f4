"""Sums over neighbours, levels and odds of pulses against the plainest numpy, compiled and not."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tapewright.kernels.pulse_statistics import AT_ONCE, levelled, odds, window_sums

REACHES = np.array([4, 12, 36, 96])
"""In a fade, its noise, steady, the most."""


def pulses(seed, size):
    """Signs in noise, with stretches of less and of nothing."""
    rng = np.random.default_rng(seed)
    heard = rng.choice([-1.0, 1.0], size) + rng.normal(0, rng.choice([0.02, 0.2, 0.5]), size)
    for _ in range(size // 300):
        begin = rng.integers(0, size)
        heard[begin : begin + rng.integers(1, 80)] *= rng.choice([0.0, 0.05, 0.3])
    return heard


def around(values, reach):
    """Of each the neighbours, shape (n,) of arrays: fewer at the ends."""
    return [values[max(k - reach, 0) : k + reach + 1] for k in range(values.size)]


def means(values, reach):
    return np.array([near.mean() for near in around(values, reach)])


def plain_levels(falls, reach, memory):
    """Levels of ``falls`` and the usual ones: the highest in the own group of ``memory`` and those beside it."""
    sizes = np.abs(falls) / np.abs(falls).max()
    levels = means(sizes, reach)
    groups = np.arange(falls.size) // memory
    usual = np.array([levels[np.abs(groups - group) <= 1].max() for group in groups])
    return np.maximum(levels, 1e-3 * usual), usual


def plain_noise(squares, reach, weights):
    """By the second and fourth moments, ``a**4 = (3 m2**2 - m4) / 2``: common practice for two-phase signals."""
    share = means(weights, reach) + 1e-9
    second, fourth = means(squares * weights, reach) / share, means(squares**2 * weights, reach) / share
    return second - np.sqrt(np.maximum((3 * second**2 - fourth) / 2, 0))


def plain_odds(pulses, present, heard):
    """Odds of a pulse's sign, by the law of Student with 200 degrees of freedom."""
    near, local, steady, far = REACHES
    squares, sizes = pulses**2, np.abs(pulses)
    # Where fewer stand at the ends, each counts for more, and then the pulse itself is left out.
    others = (means(sizes, near) * (2 * near + 1) - sizes) / (2 * near)
    relative = squares / np.maximum(others, 1e-12) ** 2
    wide = plain_noise(squares, far, present.astype(float))
    fading = plain_noise(relative, local, np.ones(pulses.size)) * others**2
    is_steady = present & (fading < 4 * wide)
    power = np.where(is_steady, means(squares, steady), means(squares, near))
    noise = np.maximum(np.where(is_steady, wide, fading), 1e-4 * power + 1e-30)
    amplitude = np.sqrt(np.maximum(power - noise, 0)) * heard
    return (200 * noise + (pulses + amplitude) ** 2) / (200 * noise + (pulses - amplitude) ** 2), is_steady


@pytest.mark.parametrize("work", [window_sums, window_sums.py_func])
@given(seed=st.integers(0, 2**32 - 1), size=st.integers(1, 40), reach=st.integers(0, 20))
def test_window_sums_are_those_of_numpy(work, seed, size, reach):
    values = np.random.default_rng(seed).uniform(-1, 1, size + 2 * reach).astype(np.float32)
    wanted = np.convolve(values.astype(np.float64), np.ones(2 * reach + 1), "valid")
    out = np.empty(size, np.float32)
    work(values, 2 * reach + 1, np.empty_like(values), out)
    assert out == pytest.approx(wanted, abs=1e-5)


def test_a_large_value_leaves_nothing_on_small_ones():
    values = np.full(300, 1e-6, np.float32)
    values[100] = 1e6
    out = np.empty(300 - 8, np.float32)
    window_sums(values, 9, np.empty_like(values), out)
    assert out[110:] == pytest.approx(9e-6)


@pytest.mark.parametrize(("work", "sizes"), [(levelled, (1, 3, 29, 30, 31, 900)), (levelled.py_func, (1, 95))])
def test_levels_are_means_of_sizes_and_the_usual_is_the_highest_near(work, sizes):
    for size in sizes:
        falls = 1e-12 * pulses(size, size)
        values, scales, usual = np.empty((3, size), np.float32)
        work(falls.astype(np.float32), 4, 30, values, scales, usual)
        levels, highest = plain_levels(falls, 4, 30)
        assert scales == pytest.approx(levels, rel=1e-5)
        assert usual == pytest.approx(highest, rel=1e-5)
        assert values * scales == pytest.approx(falls / np.abs(falls).max(), abs=1e-6)


@pytest.mark.parametrize("work", [levelled, levelled.py_func])
def test_silence_has_no_level_and_is_not_present(work):
    falls = np.zeros(50, np.float32)
    values, scales, usual = np.empty((3, 50), np.float32)
    work(falls, 4, 10, values, scales, usual)
    assert not values.any()
    assert (scales < 0.5 * usual).all()


@pytest.mark.parametrize(
    ("work", "size"), [(odds, AT_ONCE + 200), (odds, 2 * AT_ONCE), (odds, 60), (odds.py_func, 130)]
)
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_odds_are_those_of_plain_windows(work, size, seed):
    heard = pulses(seed, size)
    scales, usual = plain_levels(heard, 4, 200)
    values, out = heard / np.abs(heard).max() / scales, np.full(size, np.nan, np.float32)
    work(*(row.astype(np.float32) for row in (values, scales, usual)), REACHES, 0.5, 0.08, 4.0, 200.0, out)
    wanted, steady = plain_odds(values * scales, scales > 0.5 * usual, scales >= 0.08 * usual)
    # Single precision: the variance is a difference of moments, known to 1e-6 of the power and 2e-3 of itself.
    assert np.log(out) == pytest.approx(np.log(wanted), rel=2e-2, abs=1e-4)
    assert size < AT_ONCE or (steady.any() and not steady.all())
