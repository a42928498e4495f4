"""Modulation, echoes, saturation and level control against plain numpy and scipy."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from scipy import signal as scipy_signal
from scipy.interpolate import BSpline
from tapewright.kernels.echo import STEP_FRAMES, add_echoes, echoes
from tapewright.kernels.filters import PIECE_FRAMES, STATE, add_across, cascade, section
from tapewright.kernels.level_control import control
from tapewright.kernels.modulation import modulate
from tapewright.kernels.noise import add_noise
from tapewright.kernels.saturation import halfway, saturate
from tapewright.kernels.scrape import scrape
from tapewright.kernels.spline import splines
from tapewright.kernels.swelling_noise import add_swelling_noise


def frozen(array, kind=np.float32):
    array = np.ascontiguousarray(array, kind)
    array.flags.writeable = False
    return array


@given(seed=st.integers(0, 2**32 - 1), per_frame=st.floats(1e-4, 0.4), start=st.floats(0, 0.999))
def test_modulation_is_the_spline_of_scipy(seed, per_frame, start):
    # scipy's uniform cubic B-spline, its knots such that place 0 lies on the second coefficient.
    rng = np.random.default_rng(seed)
    frames = int(rng.integers(1, 3000))
    coefficients = rng.uniform(-1, 1, int(np.ceil(frames * per_frame)) + 6).astype(np.float32)
    row = rng.uniform(-1, 1, frames).astype(np.float32)
    spline = BSpline(np.arange(coefficients.size + 4) - 3.0, coefficients.astype(np.float64), 3)
    wanted = row * (1 + spline(start + per_frame * np.arange(frames)))
    modulate(row, frozen(coefficients), per_frame, start)
    # A frame may fall on either side of a knot, where the pieces agree; places in single precision: 1e-6 of a slope.
    assert np.abs(row - wanted).max() < 1e-5


@given(seed=st.integers(0, 2**32 - 1))
def test_splines_are_those_of_scipy(seed):
    rng = np.random.default_rng(seed)
    coefficients = rng.uniform(-1, 1, (3, 40))
    places = np.sort(rng.uniform(0, 37, 100))
    wanted = [BSpline(np.arange(44) - 3.0, row, 3)(places) for row in coefficients]
    out, plainly = np.empty((2, 3, 100))
    splines(frozen(coefficients, np.float64), frozen(places, np.float64), out)
    splines.py_func(coefficients, places, plainly)
    assert np.abs(out - wanted).max() < 1e-14
    assert np.abs(out - plainly).max() < 1e-15


def test_plain_python_and_compiled_modulation_agree():
    rng = np.random.default_rng(1)
    row = rng.uniform(-1, 1, 300).astype(np.float32)
    other, coefficients = row.copy(), frozen(rng.uniform(-1, 1, 20))
    modulate(row, coefficients, 0.05, 0.3)
    modulate.py_func(other, coefficients, 0.05, 0.3)
    assert np.abs(row - other).max() < 2e-6


@given(seed=st.integers(0, 2**32 - 1), distance=st.floats(1, 900), drift=st.floats(-0.3, 0.3))
def test_echoes_are_what_stands_that_far_before_and_after(seed, distance, drift):
    # Straight lines between samples (numpy.interp) of a smooth row; steps of 256 frames that lie wholly within the row.
    rng = np.random.default_rng(seed)
    frames, first = 4000, int(rng.integers(0, 1500))
    row = np.cumsum(rng.uniform(-0.01, 0.01, frames)).astype(np.float32)
    distances = frozen(np.abs(distance + drift * np.arange(9)), np.float64)
    out = np.empty(2000, np.float32)
    echoes(row, first, out, distances)
    places = np.arange(frames)
    far = np.interp(np.arange(2000) / 256, np.arange(9), distances)
    at = first + np.arange(2000)
    step = at - first - (at - first) % 256
    inside_late = first + step - distances[step // 256] >= 2
    inside_early = first + np.minimum(step + 256, 2000) + distances[step // 256] < frames - 2
    # Outside, a step may be silent as a whole.
    sure = inside_late & inside_early
    wanted = np.interp(at - far, places, row) + np.interp(at + far, places, row)
    assert np.abs(out - wanted)[sure].max(initial=0) < 0.012


def test_there_are_no_echoes_of_what_is_not_there():
    row = np.ones(1000, np.float32)
    out = np.full(1000, 9.0, np.float32)
    echoes(row, 0, out, frozen(np.full(5, 5000.5), np.float64))
    assert not out.any()


def bent(x):
    c = np.clip(x, -3, 3)
    return c * (27 + c**2) / (27 + 9 * c**2)


@given(seed=st.integers(0, 2**32 - 1), drive=st.floats(0.01, 5.0), pole=st.floats(0.0, 0.97))
def test_saturation_is_a_curve_at_twice_the_rate_between_a_filter_and_its_inverse(seed, drive, pole):
    row, other = rows = np.random.default_rng(seed).uniform(-2, 2, (2, 9000)).astype(np.float32)
    alone = np.zeros((2, 9000), np.float32)
    alone[0] = other
    silent = np.zeros(50)
    padded = np.concatenate((silent, row.astype(float), silent))
    lifted = scipy_signal.lfilter([drive / (1 - pole), -drive * pole / (1 - pole)], [1.0], padded)
    # A half-band filter: the sound itself on even places, weighted neighbours on odd ones, there and back.
    weights = halfway().astype(float)
    half_band = np.zeros(31)
    half_band[15], half_band[16::2], half_band[14::-2] = 1.0, weights, weights
    wide = np.zeros(2 * lifted.size)
    wide[::2] = lifted
    twice = np.convolve(wide, half_band, mode="same")
    changed = lifted + np.convolve(bent(twice) - twice, half_band / 2, mode="same")[::2]
    wanted = scipy_signal.lfilter([(1 - pole) / drive], [1.0, -pole], changed[50:-50])
    saturate(*rows, np.float32(drive), np.float32(pole), halfway())
    saturate(*alone, np.float32(drive), np.float32(pole), halfway())
    assert np.array_equal(alone[0], other)
    assert not alone[1].any()
    # Single precision, 6e-8 of the lifted sound, summed by the inverse over 1 / (1 - pole) frames.
    assert np.abs(row - wanted).max() < 3e-4


def test_half_band_filter_interpolates_and_rejects():
    # Response at twice the rate: right to 80 dB up to 0.32 of the sample rate (14 kHz at 44.1 kHz), and as far down
    # where those frequencies would be mirrored.
    weights = halfway().astype(float)
    response = lambda f: 0.5 + np.cos(2 * np.pi * np.outer(f, np.arange(8) + 0.5)) @ weights  # noqa: E731
    assert np.abs(response(np.linspace(0, 0.32, 50)) - 1).max() < 1e-4
    assert np.abs(response(np.linspace(0.68, 1.0, 50))).max() < 1e-4


def test_harmonics_beyond_half_the_rate_do_not_fold_back():
    # 8 kHz at 44.1 kHz: the third harmonic would come back at 20.1 kHz, the fifth, 40 kHz, at 4.1 kHz.
    turns = 8000 / 44_100 * np.arange(44_100)
    row = (2.0 * np.sin(2 * np.pi * turns)).astype(np.float32)
    saturate(row, row.copy(), np.float32(1.0), np.float32(0), halfway())
    level = np.abs(np.fft.rfft(row.astype(float))) / 22_050
    assert level[8000] > 0.9
    assert 20 * np.log10(level[4100] / level[8000]) < -60


def test_curve_is_near_the_hyperbolic_tangent():
    # A slow sweep, so that the sound halfway is that of its neighbours.
    x = np.linspace(-2.9, 2.9, 10_001).astype(np.float32)
    row = x.copy()
    saturate(row, x.copy(), np.float32(1), np.float32(0), halfway())
    assert np.abs(row - np.tanh(x))[20:-20].max() < 0.024
    assert (np.diff(row[20:-20]) > -1e-6).all()


def test_plain_python_and_compiled_saturation_agree():
    rows = np.random.default_rng(3).uniform(-2, 2, (2, 500)).astype(np.float32)
    others = rows.copy()
    saturate(*rows, np.float32(0.7), np.float32(0.8), halfway())
    saturate.py_func(*others, np.float32(0.7), np.float32(0.8), halfway())
    assert np.abs(rows - others).max() < 1e-5


@given(seed=st.integers(0, 2**32 - 1), attack=st.floats(1e-4, 0.5), fall=st.floats(1e-6, 0.01))
def test_level_control_is_its_plain_recursion(seed, attack, fall):
    rng = np.random.default_rng(seed)
    rows = (rng.uniform(-1, 1, (2, 5000)) * np.repeat(rng.uniform(0, 1, 10), 500)).astype(np.float32)
    target, most, decay = 0.5, 8.0, 1 - fall
    level, wanted = target / most, rows.astype(np.float64)
    for i in range(5000):
        peak = np.abs(rows[:, i]).max()
        level = max(level * decay, level + attack * (float(peak) - level), target / most)
        wanted[:, i] *= max(target / level, 1 / most)
    control(rows[0], rows[1], *(np.float32(x) for x in (target, attack, decay, 1 / most, most, target / most)))
    # Single precision: a decay of 1 - 1e-6 is right to 6 %, over at most 5,000 frames.
    assert np.abs(rows - wanted).max() < 2e-3


def test_plain_python_and_compiled_level_control_agree():
    rows = np.random.default_rng(4).uniform(-1, 1, (2, 600)).astype(np.float32)
    other = rows.copy()
    figures = [np.float32(x) for x in (0.5, 0.05, 0.999, 0.1, 10.0, 0.05)]
    control(rows[0], rows[1], *figures)
    control.py_func(other[0], other[1], *figures)
    assert np.abs(rows - other).max() < 1e-5


def long_rows(seed):
    """Two pieces and a bit of a third."""
    return np.random.default_rng(seed).uniform(-1, 1, (2, 2 * PIECE_FRAMES + 700)).astype(np.float32)


def test_cascade_is_its_sections_one_after_the_other_and_a_gain():
    # scipy.signal.sosfilt in double precision; each section rounds to single precision.
    rows = long_rows(6)
    sos = scipy_signal.butter(2, [0.05, 0.6], "bandpass", output="sos")
    wanted = scipy_signal.sosfilt(sos, rows.astype(np.float64)) * [[0.5], [-2.0]]
    cascade(*rows, frozen(np.delete(sos, 3, axis=1), np.float64), frozen([0.5, -2.0]))
    assert np.abs(rows - wanted).max() < 1e-6


def test_what_crosses_is_the_other_track_filtered():
    rows = long_rows(7)
    sos = scipy_signal.butter(2, 0.2, output="sos")
    wanted = rows + scipy_signal.sosfilt(sos, rows[::-1].astype(np.float64))
    add_across(*rows, frozen(np.delete(sos[0], 3), np.float64))
    assert np.abs(rows - wanted).max() < 5e-7


def test_echoes_are_added_piece_by_piece():
    rows, plain = long_rows(8), long_rows(8)
    coefficients = frozen([0.01, 0.0, -0.01, -1.5, 0.9], np.float64)
    distances = frozen(5000 + np.arange(3 * PIECE_FRAMES // STEP_FRAMES + 1) / 3, np.float64)
    state = np.zeros(STATE)
    for start in range(0, plain.shape[1], PIECE_FRAMES):
        heard = np.empty((2, PIECE_FRAMES), np.float32)
        steps = start // STEP_FRAMES + np.arange(PIECE_FRAMES // STEP_FRAMES + 1)
        for row, echo in zip(plain, heard, strict=True):
            echoes(row, start, echo, frozen(distances[steps], np.float64))
        section(*heard, coefficients, state)
        piece = plain[:, start : start + PIECE_FRAMES]
        piece += heard[:, : piece.shape[1]]
    add_echoes(*rows, distances, coefficients)
    assert np.array_equal(rows, plain)
    assert np.abs(rows - long_rows(8)).max() > 1e-3


def test_swelling_noise_is_noise_filtered_and_modulated():
    # Its parts have tests of their own. A single precision spline over 33,000 frames: places right to 1e-4.
    rows, plain = long_rows(9), np.zeros_like(long_rows(9))
    before = rows.copy()
    key = [np.uint64(word) for word in (5, 6, 7, 8)]
    loudness = frozen(np.random.default_rng(10).uniform(-0.5, 0.5, (2, 40)))
    coefficients = frozen([0.2, 0.1, 0.0, -0.7, 0.0], np.float64)
    add_noise(*plain, 0, *key, np.float32(0.1))
    section(*plain, coefficients, np.zeros(STATE))
    for row, swells in zip(plain, loudness, strict=True):
        modulate(row, swells, 1e-3, 0.0)
    add_swelling_noise(*rows, *key, np.float32(0.1), coefficients, loudness, 1e-3)
    assert np.abs(rows - before - plain).max() < 2e-5


def test_scraped_sound_is_its_slope_times_the_shift():
    # numpy's differences of a row with silence around it, in double precision.
    rows, frames = long_rows(11), 2 * PIECE_FRAMES + 700
    loop = np.random.default_rng(12).uniform(-0.01, 0.01, 5000).astype(np.float32)
    swells = np.random.default_rng(13).uniform(-0.5, 0.5, 80).astype(np.float32)
    shift = np.ones(frames, np.float32)
    modulate(shift, frozen(swells), 2e-3, 0.0)
    shift *= np.resize(loop, frames)
    around = np.pad(rows.astype(np.float64), ((0, 0), (2, 2)))
    slope = around[:, :-4] - 8 * around[:, 1:-3] + 8 * around[:, 3:-1] - around[:, 4:]
    wanted = rows + slope * shift
    scrape(*rows, frozen(loop), frozen(swells), 2e-3)
    assert np.abs(rows - wanted).max() < 1e-5
