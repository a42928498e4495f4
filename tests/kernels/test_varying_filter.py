"""The slowly varying symmetric filter against plain convolution."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tapewright.kernels.varying_filter import vary


def frozen(array):
    array = np.ascontiguousarray(array, np.float32)
    array.flags.writeable = False
    return array


def slowly(row, bank, places, step_frames, first, last):
    """Frame by frame in double precision: the output fades from the one filter to the next within each step."""
    side = bank.shape[1] - 1
    padded = np.concatenate((np.zeros(side), row.astype(np.float64), np.zeros(side)))
    wanted = row.astype(np.float64)
    for frame in range(first, last):
        step, within = divmod(frame - first, step_frames)
        window = padded[frame : frame + 2 * side + 1]
        heard = []
        for place in places[step : step + 2].astype(np.float64):
            lower = min(max(int(place), 0), len(bank) - 2)
            taps = bank[lower] + (place - lower) * (bank[lower + 1].astype(np.float64) - bank[lower])
            heard.append(window @ np.concatenate((taps[:0:-1], taps)))
        wanted[frame] = heard[0] + within / step_frames * (heard[1] - heard[0])
    return wanted


@given(
    seed=st.integers(0, 2**32 - 1),
    side=st.sampled_from([4, 16, 56]),
    step_frames=st.sampled_from([8, 64, 256]),
    moving=st.booleans(),
)
def test_compiled_filter_is_the_plain_one(seed, side, step_frames, moving):
    rng = np.random.default_rng(seed)
    frames = int(rng.integers(1, 700))
    first = int(rng.integers(0, frames))
    last = int(rng.integers(first + 1, frames + 1))
    row = rng.uniform(-1, 1, frames).astype(np.float32)
    bank = frozen(rng.uniform(-0.2, 0.2, (5, side + 1)))
    steps = -(-(last - first) // step_frames) + 1
    places = frozen(rng.uniform(0, 4, steps) if moving else np.full(steps, rng.uniform(0, 4)))
    wanted = slowly(row, bank, places, step_frames, first, last)
    vary(row, first, last, bank, places, step_frames)
    assert np.abs(row - wanted).max() < 3e-6


def test_blocks_meet_without_a_seam():
    # 3.5 blocks against scipy-free convolution: what one block overwrites the next still needs.
    rng = np.random.default_rng(1)
    row = rng.uniform(-1, 1, 3 * 4096 + 2000).astype(np.float32)
    taps = rng.uniform(-0.2, 0.2, 41)
    wanted = np.convolve(row.astype(np.float64), np.concatenate((taps[:0:-1], taps)), mode="same")
    vary(row, 0, row.size, frozen([taps, taps]), frozen(np.zeros(300)), 64)
    assert np.abs(row - wanted).max() < 5e-6


def test_frames_outside_stay_as_they_are():
    row = np.ones(1000, np.float32)
    vary(row, 300, 500, frozen(np.zeros((2, 5))), frozen(np.zeros(5)), 64)
    assert not row[300:500].any()
    assert (row[:300] == 1).all()
    assert (row[500:] == 1).all()


@pytest.mark.parametrize("step_frames", [8, 64])
def test_plain_python_and_compiled_agree(step_frames):
    rng = np.random.default_rng(2)
    row = rng.uniform(-1, 1, 200).astype(np.float32)
    other = row.copy()
    bank, places = frozen(rng.uniform(-0.2, 0.2, (3, 9))), frozen(rng.uniform(0, 2, 30))
    vary(row, 20, 180, bank, places, step_frames)
    vary.py_func(other, 20, 180, bank, places, step_frames)
    assert np.abs(row - other).max() < 2e-6


def test_end_of_the_tape_reaches_back_no_further_than_the_filter():
    rng = np.random.default_rng(3)
    whole = rng.uniform(-1, 1, 20_000).astype(np.float32)
    bank, places = frozen(rng.uniform(-0.1, 0.1, (9, 57))), frozen(rng.uniform(0, 8, 400))
    short = whole[:9000].copy()
    vary(whole, 0, 20_000, bank, places, 64)
    vary(short, 0, 9000, bank, places, 64)
    same = 9000 - 56 - 64
    assert np.array_equal(short[:same], whole[:same])
