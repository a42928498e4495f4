"""The clock's kernels against plain numpy and against signals whose changes are known exactly."""

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tapewright.kernels.change_readings import changes, mean_between
from tapewright.kernels.transition_following import COLUMNS, follow


def integral(samples, time):
    """Integral of the held samples from 0 to ``time``, silence outside."""
    sums = np.concatenate(([0.0], np.cumsum(samples, dtype=np.float64)))
    return np.interp(time, np.arange(samples.size + 1), sums)


@given(st.integers(0, 2**32 - 1), st.floats(-5, 45), st.floats(1e-3, 30))
def test_means_are_integrals_of_held_samples(seed, start, length):
    samples = np.random.default_rng(seed).normal(0, 1, 40).astype(np.float32)
    expected = (integral(samples, start + length) - integral(samples, start)) / length
    assert mean_between(samples, start, start + length) == pytest.approx(expected, abs=1e-5, rel=1e-4)


@pytest.mark.parametrize("work", [changes, changes.py_func])
@pytest.mark.parametrize("side", [0.0, -0.5])
def test_changes_are_half_the_fall_across_each_time(work, side):
    rng = np.random.default_rng(1)
    samples = rng.normal(0, 1, 500).astype(np.float32)
    times, lags = 30.2 + np.cumsum(rng.uniform(10, 40, 17)), rng.uniform(-3, 3, 17).astype(np.float32)
    out = np.empty(17, np.float32)
    work(samples, times, lags, side, out)
    halves, times = 0.5 * np.gradient(times), times + side * lags
    before = integral(samples, times) - integral(samples, times - halves)
    after = integral(samples, times + halves) - integral(samples, times)
    assert out == pytest.approx((before - after) / halves / 2, abs=1e-5)


def pulses(edges, frames, seed):
    """A recording with a certain change at each of ``edges`` and one between two of them at random, by exact areas."""
    rng = np.random.default_rng(seed)
    times, level, levels = [0.0], 1.0, [1.0]
    for edge, following in itertools.pairwise(edges):
        level = -level
        times.append(edge)
        levels.append(level)
        if rng.integers(2):
            level = -level
            times.append((edge + following) / 2)
            levels.append(level)
    times.append(float(frames))
    area = np.concatenate(([0.0], np.cumsum(np.diff(times) * levels)))
    return np.diff(np.interp(np.arange(frames + 1), times, area)).astype(np.float32)


def followed(left, right, alike, start, period, lag=0.0, coast=30, length=20.0):
    times, log = np.empty(2000), np.empty((COLUMNS, 2000), np.float32)
    limits = np.array([0.0, left.size, 0.75 * length, 1.25 * length])
    count = follow(left, right, alike, start, period, lag, np.ones(2), limits, 0.15, coast, times, log, 0)
    return np.column_stack((times[:count], *log[:, :count]))


@pytest.mark.parametrize("direction", [1, -1])
@pytest.mark.parametrize("length", [20, 36.75])
def test_the_loop_stays_on_the_changes(direction, length):
    """Periods that swing by 2 % over 600 of them, entered 3 % too fast and a tenth of a period off."""
    edges = 50 + np.cumsum(length * (1 + 0.02 * np.sin(np.arange(1500) / 600 * 2 * np.pi)))
    samples = pulses(edges, round(1500 * length), 2)
    start = edges[10] if direction > 0 else edges[-10]
    log = followed(samples, samples, False, start + 0.1 * length, 1.03 * direction * length, length=length)
    assert len(log) > 1450
    settled = log[60:, 0][log[60:, 0] > edges[2]]
    nearest = edges[np.abs(edges[:, None] - settled).argmin(axis=0)]
    assert np.abs(settled - nearest).max() < 0.025 * length
    assert np.array_equal(np.abs(np.diff(np.searchsorted(edges, nearest))), np.ones(len(settled) - 1))


def test_the_lag_of_the_second_track_is_learnt():
    edges = 50 + 20.0 * np.arange(1000)
    left, right = pulses(edges - 1.5, 20_000, 3), pulses(edges + 1.5, 20_000, 4)
    log = followed(left, right, False, edges[5], 20.0)
    assert len(log) > 950
    assert log[-1, 2] == pytest.approx(3.0, abs=0.2)


def test_the_clock_is_given_up_in_silence_and_in_noise():
    edges = 50 + 20.0 * np.arange(300)
    samples = pulses(edges, 20_000, 5)
    samples[6000:] = 0
    assert 285 <= len(followed(samples, samples, False, edges[5], 20.0)) <= 310
    samples[6000:] = np.random.default_rng(6).normal(0, 1, 14_000)
    assert 285 <= len(followed(samples, samples, False, edges[5], 20.0)) <= 340


def test_a_lock_on_the_changes_between_is_not_trusted():
    edges = 50 + 20.0 * np.arange(1000)
    samples = pulses(edges, 20_000, 7)
    assert len(followed(samples, samples, False, edges[5] + 10, 20.0)) < 40


def test_two_tracks_that_say_the_same_are_read_together_in_noise():
    """The noise of both tracks is as strong, so that together they jitter less; 0.85 leaves room about 1 / sqrt(2)."""
    edges = 50 + 20.0 * np.arange(1900)
    clean = pulses(edges, 40_000, 8)
    rng = np.random.default_rng(9)
    left, right = (clean + rng.normal(0, 1.6, clean.size).astype(np.float32) for _ in range(2))
    jitter = []
    for alike, other in ((True, right), (True, -right), (False, left)):
        log = followed(left, other, alike, edges[5], 20.0)[:1800]
        jitter.append(np.std(log[100:, 0] - edges[105 : 5 + len(log)]))
    assert jitter[0] < 0.85 * jitter[2]
    assert jitter[1] < 0.85 * jitter[2]


@pytest.mark.parametrize("seed", range(8))
def test_a_slip_of_half_a_period_is_noticed_within_60_periods(seed):
    """Whether the loop slides over or gives up: hardly any trusted time lies between the certain changes."""
    edges = 50 + 20.0 * np.arange(1000)
    slipped = np.concatenate((edges[:400], edges[400:700] + 10))
    samples = pulses(slipped, 20_000, seed)
    times = followed(samples, samples, False, edges[5], 20.0)[:, 0]
    times = times[times < slipped[-1]]
    assert times.size > 390
    off = np.abs(times[:, None] - slipped).min(axis=1)
    assert (off > 5).sum() < 60


@pytest.mark.parametrize("seed", range(4))
def test_in_noise_each_period_is_read_before_the_next_is_foretold(seed):
    """Flutter of 1 % at 10 Hz, 4,000 periods a second, noise of half of what a period sums to. Read by whole blocks all
    the same, the clock of seed 0 is lost after 168 periods and that of seed 2 after 914.
    """
    rng, length = np.random.default_rng(seed), 11.0
    turns = np.arange(1500) * 2 * np.pi * 10 * length / 44_100 + rng.uniform(0, 6)
    edges = 200 + np.cumsum(length * (1 + 0.01 * np.sin(turns)))
    clean = pulses(edges, int(edges[-1] + 200), seed)
    left, right = (clean + rng.normal(0, 0.5 * length**0.5, clean.size).astype(np.float32) for _ in range(2))
    limits = np.array([0.0, clean.size, 0.88 * length, 1.13 * length])
    times, log = np.empty(2000), np.empty((COLUMNS, 2000), np.float32)
    bandwidth = 2 * np.pi * 60 * length / 44_100
    count = follow(left, right, True, edges[5], length, 0.0, np.ones(2), limits, bandwidth, 30, times, log, 0)
    assert count > 1450
    errors = (times + log[0])[:1450] - edges[5:1455]
    assert np.sqrt(np.mean(errors**2)) < 0.1 * length
