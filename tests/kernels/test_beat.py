"""The beat of a clock against plain numpy, compiled and not."""

import numpy as np
import pytest
from tapewright.kernels.beat import BIN, CERTAINTY, CLARITY, LAG, OFFSET, beats, falls

LOW, HIGH, MIDDLE, CLEAR = 20, 34, 0.24, 0.15


@pytest.mark.parametrize("work", [falls, falls.py_func])
def test_falls_are_differences_of_means(work):
    samples = np.random.default_rng(1).normal(0.2, 1, 900).astype(np.float32)
    out, half, step = np.empty((3, 30), np.float32), 4, 3.7
    work(samples, np.array([0, 2, 7]), step, half, out)
    sums = np.concatenate(([0.0], np.cumsum(samples, dtype=np.float64)))
    for stretch, own in zip((0, 2, 7), out, strict=True):
        edges = np.interp((30 * stretch + np.arange(30 + 2 * half)) * step, np.arange(901), sums)
        means = (edges[half:] - edges[:-half]) / (half * step)
        assert own == pytest.approx(np.abs(means[:-half] - means[half:]) / 4, abs=1e-5)


def plain_beats(spectra, totals):
    """By complex numbers and whole rows, shape (5, stretches)."""
    once, twice = (np.abs(spectra[..., m * LOW - m + 1 : m * HIGH + m]) / totals[..., None] for m in (1, 2))
    twice = np.max([twice[..., k : twice.shape[-1] - 2 + k : 2] for k in range(3)], axis=0)
    both = np.hypot(once, twice)
    best = np.max([*both, np.sqrt((both**2).mean(axis=0))], axis=0)
    peak = 1 + np.argmax(best[:, 1:-1], axis=1)
    at = np.arange(peak.size)
    left, top, right = (best[at, peak + side] for side in (-1, 0, 1))
    shift = np.clip(0.5 * (left - right) / (left - 2 * top + right), -0.5, 0.5)
    turns = -np.angle(spectra[:, at, LOW + peak] * np.exp(2j * np.pi * MIDDLE * (LOW + peak))) / (2 * np.pi)
    lag, offset = np.zeros(peak.size), turns[0]
    if len(spectra) == 2:
        lag = turns[1] - turns[0]
        lag -= np.round(lag)
        lag[both[:, at, peak].min(axis=0) < CLEAR] = np.nan
        halfway = 0.5 * np.nan_to_num(lag)
        strong = once[0, at, peak] * totals[0] >= once[1, at, peak] * totals[1]
        offset = np.where(strong, turns[0] + halfway, turns[1] - halfway)
    return np.array([top, once[:, at, peak].max(axis=0), LOW + peak + shift, offset, lag])


@pytest.mark.parametrize("work", [beats, beats.py_func])
@pytest.mark.parametrize("tracks", [1, 2])
def test_beats_are_those_of_whole_rows(work, tracks):
    rng = np.random.default_rng(tracks)
    spectra = (rng.normal(0, 1, (tracks, 40, 80)) + 1j * rng.normal(0, 1, (tracks, 40, 80))).astype(np.complex64)
    spectra[-1, ::3] *= 0.02
    totals, out = rng.uniform(3, 6, (tracks, 40)).astype(np.float32), np.full((5, 40), np.inf)
    work(spectra.view(np.float32), totals, LOW, HIGH, MIDDLE, CLEAR, out)
    wanted = plain_beats(spectra, totals)
    for row in (CLARITY, CERTAINTY, BIN, OFFSET, LAG):
        assert out[row] == pytest.approx(wanted[row], abs=1e-4, nan_ok=True)
    assert np.isnan(out[LAG]).any() == (tracks == 2)


def test_silence_beats_in_no_way():
    out = np.full((5, 1), np.inf)
    beats(np.zeros((2, 1, 160), np.float32), np.zeros((2, 1), np.float32), LOW, HIGH, MIDDLE, CLEAR, out)
    assert out[CLARITY, 0] == out[CERTAINTY, 0] == 0
    assert np.isnan(out[LAG, 0])
