"""Sums over stretches against plain numpy."""

import numpy as np
import pytest
from tapewright.kernels.stretch_sums import filtered, products

STRETCHES, LENGTH, TAPS = 3, 40, 5
RNG = np.random.default_rng(1)
VALUES = RNG.normal(0, 1, STRETCHES * LENGTH + TAPS - 1).astype(np.float32)
WEIGHTS = RNG.normal(0, 1, STRETCHES * LENGTH).astype(np.float32)
AROUND = np.lib.stride_tricks.sliding_window_view(VALUES, TAPS).reshape(STRETCHES, LENGTH, TAPS)


@pytest.mark.parametrize("work", [products, products.py_func])
def test_products_are_sums_of_each_stretch_and_lag(work):
    out = np.full((STRETCHES, TAPS), 9.0)
    work(WEIGHTS, VALUES, 2, out)
    wanted = np.einsum("sk,ski->si", WEIGHTS.reshape(STRETCHES, LENGTH), AROUND)
    assert out[:, 2:] == pytest.approx(wanted[:, 2:], abs=1e-4)
    assert (out[:, :2] == 9.0).all()


@pytest.mark.parametrize("work", [filtered, filtered.py_func])
def test_each_stretch_is_filtered_by_its_own_taps(work):
    taps = RNG.normal(0, 1, (STRETCHES, TAPS)).astype(np.float32)
    out = np.full(STRETCHES * LENGTH, np.nan, np.float32)
    work(VALUES, taps, out)
    assert out == pytest.approx(np.einsum("si,ski->sk", taps, AROUND).ravel(), abs=1e-4)
