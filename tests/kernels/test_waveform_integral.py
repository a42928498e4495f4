"""The laid-out integral of the waveform against numpy's cumulative sum."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tapewright.kernels.waveform_integral import MARGIN, falling, integral, integrate, laid_out


def samples_of(seed, count):
    return np.random.default_rng(seed).normal(0.1, 1, count).astype(np.float32)


def expected(samples, times):
    """Integral of the held samples from the start of the recording, silence outside."""
    sums = np.concatenate(([0.0], np.cumsum(samples, dtype=np.float64)))
    return np.interp(times, np.arange(samples.size + 1), sums)


@pytest.mark.parametrize("compiled", [True, False])
@given(st.integers(0, 2**32 - 1), st.integers(-90, 90), st.sampled_from([1, 4]), st.integers(1, 60))
def test_it_is_the_running_sum_with_silence_outside(compiled, seed, first, every, size):
    samples, sums, first = samples_of(seed, 40), np.full(size, np.nan, np.float32), first // every * every
    (integrate if compiled else integrate.py_func)(samples, first, every, sums)
    at = first + every * np.arange(size)
    # Single precision, 40 values of about 1: some 1e-5 of their sum of some 40.
    assert sums == pytest.approx(expected(samples, at) - expected(samples, max(first, 0)), abs=1e-4)


def test_between_its_values_it_is_a_straight_line():
    sums = np.array([0.0, 1.0, -1.0, 5.0], np.float32)
    for place in (0.0, 0.25, 1.0, 1.5, 2.75):
        wanted = np.interp(place, np.arange(4), sums)
        assert integral(sums, np.float32(place)) == pytest.approx(wanted)
        assert integral.py_func(sums, np.float32(place)) == pytest.approx(wanted)


@pytest.mark.parametrize("onward", [True, False])
@pytest.mark.parametrize("every", [1, 4])
@pytest.mark.parametrize("time", [-400.3, 3.2, 1500.7, 2998.4, 3400.0])
def test_what_is_laid_out_holds_all_that_was_asked_for(onward, every, time):
    left, right, sums = samples_of(1, 3000), samples_of(2, 3000), np.empty((2, 200), np.float32)
    reach = 0.5 * (199 * every - MARGIN)
    begin = laid_out(left, right, time - reach, time + reach, onward, every, sums)
    assert begin <= time - reach
    assert time + reach < begin + 199 * every
    at = begin + every * np.arange(200)
    for track, own in zip((left, right), sums, strict=True):
        assert own - own[0] == pytest.approx(expected(track, at) - expected(track, begin), abs=1e-3)


@pytest.mark.parametrize("falls", [falling, falling.py_func])
def test_three_half_periods_around_a_place(falls):
    samples, sums = samples_of(3, 100), np.empty(101, np.float32)
    integrate(samples, 0, 1, sums)
    edges = expected(samples, 41.3 + 7.25 * np.arange(-2, 3))
    wanted = (edges[2] - edges[0], edges[3] - edges[1], edges[4] - edges[2])
    heard = falls(sums, np.float32(41.3), np.float32(7.25), np.float32(0.5 / 7.25))
    assert heard == pytest.approx(np.array(wanted) * 0.5 / 7.25, abs=1e-4)
