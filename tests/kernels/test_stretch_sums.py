"""Sums over stretches against plain numpy."""

import numpy as np
import pytest
from tapewright.kernels.stretch_sums import AT_ONCE, decided, filtered, smooth, squares

STRETCHES, LENGTH, TAPS = 3, 40, 5
RNG = np.random.default_rng(1)
VALUES = RNG.normal(0, 1, STRETCHES * LENGTH + TAPS - 1).astype(np.float32)
CHOSEN = RNG.random(STRETCHES * LENGTH) < 0.7
SYMBOLS = RNG.normal(0, 1, STRETCHES * LENGTH).astype(np.float32)
AROUND = np.lib.stride_tricks.sliding_window_view(VALUES, TAPS).reshape(STRETCHES, LENGTH, TAPS)
BY_STRETCH = CHOSEN.reshape(STRETCHES, LENGTH)


@pytest.mark.parametrize("work", [squares, squares.py_func])
def test_squares_are_sums_over_every_two_lags(work):
    out = np.full((STRETCHES, TAPS, TAPS), np.nan)
    counted = np.full(STRETCHES, np.nan)
    work(CHOSEN, VALUES, out, counted)
    assert counted.tolist() == BY_STRETCH.sum(axis=1).tolist()
    assert out == pytest.approx(np.einsum("sk,ski,skj->sij", BY_STRETCH, AROUND, AROUND), abs=1e-4)


@pytest.mark.parametrize("work", [decided, decided.py_func])
def test_only_the_signs_of_symbols_count(work):
    out = np.full((STRETCHES, TAPS), np.nan)
    work(CHOSEN, SYMBOLS, VALUES, out)
    signs = np.sign(SYMBOLS).reshape(STRETCHES, LENGTH)
    assert out == pytest.approx(np.einsum("sk,sk,ski->si", BY_STRETCH, signs, AROUND), abs=1e-4)


@pytest.mark.parametrize("work", [filtered, filtered.py_func])
@pytest.mark.parametrize("taps", [1, 2, TAPS])
def test_each_stretch_is_filtered_by_its_own_taps(work, taps):
    own = RNG.normal(0, 1, (STRETCHES, taps)).astype(np.float32)
    out = np.full(STRETCHES * LENGTH, np.nan, np.float32)
    work(VALUES, own, out)
    assert out == pytest.approx(np.einsum("si,ski->sk", own, AROUND[..., :taps]).ravel(), abs=1e-4)


@pytest.mark.parametrize("work", [smooth, smooth.py_func])
@pytest.mark.parametrize("count", [5, 8, 30, AT_ONCE + 3, 2 * AT_ONCE])
def test_times_are_mended_and_smoothed_as_if_they_went_on(work, count):
    read, errors = 1e6 + np.cumsum(RNG.normal(20, 1, count)), RNG.normal(0, 1, count).astype(np.float32)
    times = read + errors
    taps = np.array([-0.1, 0.2, 0.3, 0.2, 0.3, 0.2, -0.1])
    taps = (taps + taps[::-1])[None] / (2 * taps.sum())
    margin = taps.size // 2
    around = np.concatenate((2 * times[0] - times[margin:0:-1], times, 2 * times[-1] - times[-2 : -margin - 2 : -1]))
    wanted = np.convolve(around, taps[0], "valid")
    work(read, errors, taps.astype(np.float32))
    assert read == pytest.approx(wanted, rel=0, abs=1e-4)
