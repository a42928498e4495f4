"""Filter sections against scipy."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import signal as scipy_signal
from tapewright.kernels.filters import STATE, section


def run(rows, sos, cuts=(), function=section):
    out = rows.copy()
    for one in np.atleast_2d(sos):
        coefficients = np.array([*one[:3], *one[4:]]) / one[3]
        state = np.zeros(STATE)
        for piece in np.split(np.arange(rows.shape[1]), cuts):
            function(out[0, piece[0] : piece[-1] + 1], out[1, piece[0] : piece[-1] + 1], coefficients, state)
    return out


def tracks(seed, frames):
    return np.random.default_rng(seed).uniform(-1, 1, (2, frames)).astype(np.float32)


@given(
    seed=st.integers(0, 2**32 - 1),
    point=st.floats(0.0005, 0.95),
    order=st.integers(1, 2),
    kind=st.sampled_from(["lowpass", "highpass"]),
)
def test_section_is_that_of_scipy(seed, point, order, kind):
    # scipy.signal.sosfilt in double precision; the output is rounded to single precision: 6e-8 of at most 2.
    rows = tracks(seed, 3000)
    sos = scipy_signal.butter(order, point, kind, output="sos")
    assert np.abs(run(rows, sos) - scipy_signal.sosfilt(sos, rows.astype(np.float64))).max() < 3e-7


@given(cuts=st.lists(st.integers(1, 2999), min_size=1, max_size=4, unique=True).map(sorted))
def test_cuts_change_nothing(cuts):
    rows = tracks(8, 3000)
    sos = scipy_signal.butter(2, 0.01, "highpass", output="sos")
    assert np.array_equal(run(rows, sos), run(rows, sos, cuts))


def test_plain_python_and_compiled_agree():
    rows = tracks(9, 500)
    sos = scipy_signal.butter(2, 0.3, output="sos")
    assert np.abs(run(rows, sos) - run(rows, sos, function=section.py_func)).max() < 2e-7


@pytest.mark.parametrize("point", [0.0018, 0.5])
def test_state_is_forgotten_in_silence(point):
    state = np.zeros(STATE)
    one = scipy_signal.butter(2, point, "highpass", output="sos")[0]
    coefficients = np.array([*one[:3], *one[4:]])
    left, right = np.ones((2, 100), np.float32)
    section(left, right, coefficients, state)
    assert state.any()
    for _ in range(20):
        left, right = np.zeros((2, 4096), np.float32)
        section(left, right, coefficients, state)
    assert not state.any()
