"""Drift against analytic FM and against itself."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import signal as scipy_signal
from tapewright.channel_models.drift import PHASE_WALK_RAD, Drift
from tapewright.contracts.errors import UsageError
from tapewright.contracts.signal import Signal

RATE_HZ = 44_100


def tone(hertz, seconds, rate_hz=RATE_HZ):
    return Signal(np.sin(2 * np.pi * hertz / rate_hz * np.arange(round(seconds * rate_hz))), rate_hz)


def signal_to_noise_db(signal, phase):
    wanted = np.sin(phase)
    inner = slice(20, -20)
    errors = signal.samples[:, inner] - wanted[inner]
    return 10 * np.log10(np.mean(wanted[inner] ** 2) / np.mean(errors.astype(np.float64) ** 2, axis=1)).min()


def places(motion):
    """Read position of every output by an integration of its own: the slopes' cubic spline, from scipy."""
    from scipy.interpolate import CubicSpline

    knots = float(motion.knot_frames) * np.arange(motion.slopes.size)
    return CubicSpline(knots, motion.slopes).antiderivative()(np.arange(motion.outputs))


@pytest.mark.parametrize("percent", [0.001, 6.0, -6.0, 3.0, -0.5])
def test_offset_gives_the_analytic_tone(percent):
    played = Drift(speed_percent=percent).degrade(tone(10_000, 2.0), np.random.default_rng(1))
    phase = 2 * np.pi * 10_000 / RATE_HZ * (1 + percent / 100) * np.arange(played.frames)
    assert signal_to_noise_db(played, phase) >= 65


@pytest.mark.parametrize("percent", [0.0, 6.0, -6.0])
def test_wow_and_flutter_give_the_analytic_fm_tone(percent):
    model = Drift(speed_percent=percent, wow_percent=0.3, flutter_percent=0.2, noise_percent=0.1)
    played = model.degrade(tone(10_000, 4.0), np.random.default_rng(2))
    motion = model.motion(4 * RATE_HZ, RATE_HZ, np.random.default_rng(2))
    assert played.frames == motion.outputs
    assert signal_to_noise_db(played, 2 * np.pi * 10_000 / RATE_HZ * places(motion)) >= 65


def test_positive_offset_plays_faster_and_keeps_the_end():
    for percent in (-20.0, -6.0, 0.3, 6.0, 20.0):
        samples = np.zeros(RATE_HZ)
        samples[-1] = 1.0
        played = Drift(speed_percent=percent).degrade(Signal(samples, RATE_HZ), np.random.default_rng(0))
        assert played.frames == int((RATE_HZ - 1) / (1 + percent / 100)) + 1
        assert np.abs(played.samples[:, -2:]).max() > 0.1


@given(seed=st.integers(0, 2**32 - 1), limit=st.floats(0.01, 10.0), decks=st.integers(1, 2))
def test_drawn_offset_stays_within_its_limit(seed, limit, decks):
    model = Drift(speed_percent_limit=limit, decks=decks)
    motion = model.motion(10_000, RATE_HZ, np.random.default_rng(seed))
    assert np.ptp(motion.slopes) == 0
    assert abs(motion.slopes[0] - 1) <= decks * limit / 100


def test_two_decks_add_two_even_draws():
    # Null: sum of two independent even draws on +-1: triangular on +-2, variance 2/3, fourth moment 16/15, so that the
    # variance of 1,000 tapes (seeds 0 to 999) has s.e. sqrt((16/15 - 4/9) / 1000) = 0.025; 5 s.e. False alarm 6e-7.
    model = Drift(speed_percent_limit=1.0, decks=2)
    offsets = [model.motion(2, RATE_HZ, np.random.default_rng(seed)).slopes[0] - 1 for seed in range(1000)]
    assert abs(np.var(np.array(offsets) * 100) - 2 / 3) < 0.125


def test_smooth_noise_has_its_rms_and_its_band():
    # Null: Gaussian noise of the Butterworth band 0.5 to 40 Hz, rms 0.1 %; seed 3, 600 s: 2 x 40 Hz x 600 s = 47,000
    # degrees of freedom, s.e. 0.33 %; 3 % is 9 of them (the cut at 4 rms takes off 0.05 %).
    motion = Drift(noise_percent=0.1).motion(600 * 8000, 8000, np.random.default_rng(3))
    deviation = 100 * (motion.slopes - 1)
    assert abs(deviation.std() / 0.1 - 1) < 0.03
    hz, density = scipy_signal.welch(deviation, 8000 / motion.knot_frames, nperseg=8192)
    inside = density[(hz > 0.7) & (hz < 25)].mean()
    assert density[hz < 0.1].mean() < 0.05 * inside
    assert density[hz > 60].mean() < 0.25 * inside


def test_wow_stays_on_its_frequency_while_its_phase_wanders():
    # Null: phase steps of 0.3 rad a period: after 600 periods the phase has moved by 0.3 sqrt(600) = 7.3 rad s.d.,
    # 1.2 turns of 600: the mean frequency is right to 1 % (5 s.d.); a smooth phase crosses no zero twice. Seed 4.
    motion = Drift(wow_percent=0.5, wow_hz=1.0).motion(600 * 8000, 8000, np.random.default_rng(4))
    motion_s = motion.slopes.size * motion.knot_frames / 8000
    crossings = np.flatnonzero(np.diff(np.signbit(motion.slopes - 1))).size / 2
    assert abs(crossings / motion_s - 1) < 0.01 + 1 / 600
    assert np.ptp(motion.slopes - 1) == pytest.approx(0.01, rel=1e-3)
    assert PHASE_WALK_RAD < 1


def test_tape_is_the_same_at_any_sample_rate():
    model = Drift(speed_percent_limit=1.0, wow_percent=0.2, flutter_percent=0.2, noise_percent=0.1)
    slow, fast = (model.motion(20 * rate, rate, np.random.default_rng(7)) for rate in (16_000, 48_000))
    seconds = np.arange(0, 18, 0.01)
    heard = [
        np.interp(seconds, motion.knot_frames / rate * np.arange(motion.positions.size), motion.positions / rate)
        for motion, rate in ((slow, 16_000), (fast, 48_000))
    ]
    assert np.abs(heard[0] - heard[1]).max() < 2e-6


def test_longer_tape_starts_the_same():
    model = Drift(speed_percent_limit=2.0, wow_percent=0.2, flutter_percent=0.2, noise_percent=0.1)
    sound = np.random.default_rng(0).uniform(-1, 1, (2, 3 * RATE_HZ))
    long = model.degrade(Signal(sound, RATE_HZ), np.random.default_rng(9)).samples
    for frames in (10, 4096, 50_000, 100_001):
        short = model.degrade(Signal(sound[:, :frames], RATE_HZ), np.random.default_rng(9)).samples
        same = max(0, short.shape[1] - 6)
        assert np.array_equal(short[:, :same], long[:, :same])


@pytest.mark.parametrize("frames", [0, 1, 2, 63, 64, 65, 4097])
def test_any_length_goes_through(frames):
    model = Drift(speed_percent=-20.0, wow_percent=5.0, flutter_percent=5.0, noise_percent=2.0)
    played = model.degrade(Signal(np.ones((2, frames)), 8000), np.random.default_rng(frames))
    assert frames * 0.7 <= played.frames <= 1 + frames / 0.5


def test_flutter_below_wow_is_refused():
    with pytest.raises(UsageError, match=r"drift: parameter 'flutter_hz' must be above 'wow_hz' \(9 Hz\), not 7"):
        Drift(wow_percent=0.1, flutter_percent=0.1, wow_hz=9.0)
