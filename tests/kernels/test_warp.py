"""The warp against analytic tones and a plain reference."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tapewright.kernels.warp import BLOCK_FRAMES, shift, taps, warp, weights

RATE_HZ = 44_100


def frozen(row):
    row = np.ascontiguousarray(row, np.float32)
    row.flags.writeable = False
    return row


def read(left, right, position, slope, outputs, function=warp, knot_frames=64):
    """Both tracks read at ``position(n)``, given with its derivative as functions of the output's number."""
    knots = -(-outputs // BLOCK_FRAMES) * (BLOCK_FRAMES // knot_frames) + 1
    places = np.arange(knots) * float(knot_frames)
    out = np.empty((2, outputs), np.float32)
    slopes = slope(places) + 0 * places
    function(frozen(left), frozen(right), out[0], out[1], position(places), slopes, knot_frames, weights())
    return out


def slowly(left, right, positions):
    """The same weights in double precision, one gathered tap at a time."""
    whole = np.floor(positions).astype(int)
    v = positions - whole - 0.5
    powers = v ** np.arange(6)[:, None]
    signs = (-1.0) ** np.arange(6)
    padded = [np.concatenate((np.zeros(50), row.astype(np.float64), np.zeros(50))) for row in (left, right)]
    total = np.zeros((2, positions.size))
    for k, row in enumerate(weights().astype(np.float64)):
        for tap, weight in ((whole - k, row @ powers), (whole + 1 + k, (row * signs) @ powers)):
            total += [weight * track[np.clip(tap + 50, 0, track.size - 1)] for track in padded]
    return total


@pytest.mark.parametrize("offset", [0.0, 0.01, 0.03, 0.06, -0.03, -0.06])
@pytest.mark.parametrize(("peak", "hertz"), [(0.0, 1.0), (0.002, 8.0), (0.01, 0.8)])
def test_ten_kilohertz_keeps_65_db(offset, peak, hertz):
    # An FM tone has a closed form: p(n) = (1 + offset) n + A / w (1 - cos w n), w in radians a frame.
    w = 2 * np.pi * hertz / RATE_HZ
    outputs = 50_000
    tone = 2 * np.pi * 10_000 / RATE_HZ
    position = lambda n: 0.37 + (1 + offset) * n + peak / w * (1 - np.cos(w * n))  # noqa: E731
    tape = np.sin(tone * np.arange(outputs * 1.1))
    other = np.cos(tone * np.arange(outputs * 1.1))
    got = read(tape, other, position, lambda n: 1 + offset + peak * np.sin(w * n), outputs)
    wanted = tone * position(np.arange(outputs))
    errors = (got - np.stack((np.sin(wanted), np.cos(wanted))))[:, 100:]
    assert 10 * np.log10(0.5 / np.mean(errors**2, axis=1)).min() >= 65


@pytest.mark.parametrize("hertz", [20, 315, 1200, 3150, 6300, 10_900])
def test_lower_tones_do_no_worse(hertz):
    tone = 2 * np.pi * hertz / RATE_HZ
    tape = np.sin(tone * np.arange(30_000))
    got = read(tape, tape, lambda n: 5.2 + 1.013 * n, lambda n: 1.013, 25_000)
    error = got[0] - np.sin(tone * (5.2 + 1.013 * np.arange(25_000)))
    assert 10 * np.log10(0.5 / np.mean(error[50:] ** 2)) >= 60


@given(
    seed=st.integers(0, 2**32 - 1),
    offset=st.floats(-0.2, 0.2),
    start=st.floats(-30, 30),
    knot_frames=st.sampled_from([1, 8, 64, 4096]),
)
def test_compiled_warp_is_the_plain_one(seed, offset, start, knot_frames):
    rng = np.random.default_rng(seed)
    left, right = rng.uniform(-1, 1, (2, 6000)).astype(np.float32)
    outputs = int(rng.integers(1, 9000))
    got = read(left, right, lambda n: start + (1 + offset) * n, lambda n: 1 + offset, outputs, knot_frames=knot_frames)
    positions = start + (1 + offset) * np.arange(outputs)
    # A position may fall on either side of a whole frame: there both weight sets are right to their design error.
    clear = np.abs(positions - np.round(positions)) > 1e-6
    assert np.abs(got - slowly(left, right, positions))[:, clear].max(initial=0) < 5e-6


@pytest.mark.parametrize("speed", [1.07, 0.9])
def test_python_and_compiled_agree(speed):
    rng = np.random.default_rng(3)
    left, right = rng.uniform(-1, 1, (2, 300)).astype(np.float32)
    arguments = (left, right, lambda n: -3.3 + speed * n, lambda n: speed, 260)
    assert np.abs(read(*arguments) - read(*arguments, function=warp.py_func)).max() < 2e-6


def test_end_of_the_tape_changes_nothing_before_it():
    rng = np.random.default_rng(4)
    left, right = rng.uniform(-1, 1, (2, 20_000)).astype(np.float32)
    whole = read(left, right, lambda n: 0.98 * n, lambda n: 0.98, 20_000)
    for frames in (3, 5000, 12_345):
        outputs = int(frames / 0.98) - 6
        short = read(left[:frames], right[:frames], lambda n: 0.98 * n, lambda n: 0.98, max(0, outputs))
        assert np.array_equal(short, whole[:, : max(0, outputs)])


def test_there_is_silence_beyond_the_tape():
    ones = np.ones(100)
    got = read(ones, ones, lambda n: -5000 + 1.0 * n, lambda n: 1.0, 9000)
    assert not got[:, :4990].any()
    assert not got[:, 5110:].any()
    assert np.abs(got[:, 5010:5090] - 1).max() < 1e-3


def test_constant_level_is_kept():
    # The weights of any fraction add up to 1 as far as the design error at 0 Hz lets them: 70 dB.
    got = read(np.ones(5000), np.ones(5000), lambda n: 10 + 1.003 * n, lambda n: 1.003, 4000)
    assert np.abs(got - 1).max() < 10 ** (-65 / 20)


@given(seed=st.integers(0, 2**32 - 1), late=st.floats(-40, 40))
def test_even_shift_is_the_plain_warp(seed, late):
    tape = np.random.default_rng(seed).uniform(-1, 1, 700).astype(np.float32)
    first, shares = taps(late)
    got, plainly = np.empty((2, 500), np.float32)
    shift(frozen(tape[100 + first :]), got, shares)
    shift.py_func(frozen(tape[100 + first :]), plainly, shares)
    wanted = slowly(tape, tape, 100 - late + np.arange(500))[0]
    # Single precision: eight products of up to 1.3 in all.
    assert np.abs(got - plainly).max() < 5e-7
    assert abs(late - np.round(late)) < 1e-6 or np.abs(got - wanted).max() < 2e-6


def test_even_shift_reads_as_the_warp_does():
    left, right = np.random.default_rng(5).uniform(-1, 1, (2, 3000)).astype(np.float32)
    first, shares = taps(-50.3)
    got = np.empty(2900, np.float32)
    shift(frozen(right[first:]), got, shares)
    assert np.abs(got - read(left, right, lambda n: 50.3 + n, lambda n: 1.0, 2900)[1]).max() < 2e-7
