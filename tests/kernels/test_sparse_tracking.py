"""The loop on changes that may be missing, against recordings whose changes are known exactly."""

import numpy as np
import pytest
from tapewright.kernels.change_readings import means_between
from tapewright.kernels.sparse_tracking import follow_sparse
from tapewright.kernels.transition_following import COLUMNS


def changing(edges, gaps, frames, seed):
    """A recording with a change of level at some of ``edges``, one of ``gaps`` periods apart, by exact areas."""
    places = np.cumsum(np.random.default_rng(seed).choice(gaps, edges.size))
    here = edges[places[places < edges.size]]
    levels = np.resize([1.0, -1.0], here.size + 1)
    area = np.concatenate(([0.0], np.cumsum(np.diff([0.0, *here, frames]) * levels)))
    return np.diff(np.interp(np.arange(frames + 1), [0.0, *here, frames], area)).astype(np.float32)


def followed(left, right, alike, start, period, lag=0.0):
    times, log = np.empty(2000), np.empty((COLUMNS, 2000), np.float32)
    limits = np.array([0.0, left.size, 15.0, 25.0])
    count = follow_sparse(left, right, alike, start, period, lag, np.ones(2), limits, 0.3, 30, times, log, 0)
    return np.column_stack((times[:count], *log[:, :count]))


def off_the_edges(log, edges):
    return np.abs(edges[:, None] - log[:, 0]).min(axis=0)


@pytest.mark.parametrize("gaps", [(2, 3, 4), (1, 2, 3), (1, 2)])
@pytest.mark.parametrize("direction", [1, -1])
def test_the_loop_stays_on_the_places_of_changes(gaps, direction):
    """Period 20 frames, swinging by 2 % over 600 periods, entered 1 % too slow and a tenth of a period off."""
    edges = 50 + np.cumsum(20 * (1 + 0.02 * np.sin(np.arange(1500) / 600 * 2 * np.pi)))
    samples = changing(edges, gaps, 30_200, 2)
    at = 10 if direction > 0 else 1490
    log = followed(samples, samples, False, edges[at] + 2.0, direction * 1.01 * (edges[at] - edges[at - 1]))
    assert len(log) > 1450
    settled = log[80:]
    inside = (settled[:, 0] > edges[2]) & (settled[:, 0] < edges[-2])
    assert off_the_edges(settled[inside], edges).max() < 1.0
    assert np.array_equal(
        np.diff(np.searchsorted(edges, settled[inside, 0] + 10)), np.full(inside.sum() - 1, direction)
    )


def test_the_lag_of_the_second_track_is_learnt():
    edges = 50 + 20.0 * np.arange(1400)
    left, right = changing(edges - 2.0, (1, 2, 3), 28_200, 3), changing(edges + 2.0, (1, 2, 3), 28_200, 3)
    log = followed(left, right, True, edges[5], 20.0)
    assert log[-1, 2] == pytest.approx(4.0, abs=0.3)
    assert off_the_edges(log[200:-40], edges).max() < 0.7


def test_it_lets_go_when_the_changes_end_and_of_noise():
    edges = 50 + 20.0 * np.arange(400)
    samples = changing(edges, (1, 2, 3), 30_000, 4)
    assert 380 < len(followed(samples, samples, False, edges[5], 20.0)) < 460
    noise = np.random.default_rng(5).normal(0, 1, 30_000).astype(np.float32)
    assert len(followed(noise, noise, False, 100.0, 20.0)) < 300


def test_means_between_times_are_those_of_the_held_samples():
    samples = np.random.default_rng(6).normal(0, 1, 400).astype(np.float32)
    times = np.cumsum(np.random.default_rng(7).uniform(0.5, 20, 30))
    out = np.empty(29, np.float32)
    means_between(samples, times, out)
    sums = np.interp(times, np.arange(401), np.concatenate(([0.0], np.cumsum(samples, dtype=np.float64))))
    assert out == pytest.approx(np.diff(sums) / np.diff(times), abs=1e-4)
