"""Sounds that nobody recorded: hum, an earlier recording, echoes, noise that comes with the signal."""

import tracemalloc

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import signal as scipy_signal
from tapewright.channel_models.hum import Hum
from tapewright.channel_models.modulation_noise import ModulationNoise
from tapewright.channel_models.print_through import PrintThrough
from tapewright.channel_models.residue import Residue
from tapewright.contracts.signal import Signal

RATE_HZ = 44_100


def silence(seconds, rate_hz=RATE_HZ):
    return Signal(np.zeros((2, round(seconds * rate_hz))), rate_hz)


def sine(hertz, seconds, peak=1.0, rate_hz=RATE_HZ):
    return Signal(peak * np.sin(2 * np.pi * hertz / rate_hz * np.arange(round(seconds * rate_hz))), rate_hz)


@given(mains_hz=st.integers(16, 400), rate_hz=st.sampled_from([8_000, 22_050, 44_100, 48_000]), seed=st.integers(0, 99))
def test_hum_is_the_mains_and_its_harmonics_alone(mains_hz, rate_hz, seed):
    heard = Hum(level_db=-40.0, mains_hz=mains_hz).degrade(silence(1.0, rate_hz), np.random.default_rng(seed)).samples
    assert np.array_equal(heard[0], heard[1])
    # One second: every whole number of hertz has a bin of its own.
    power = np.abs(np.fft.rfft(heard[0].astype(np.float64))) ** 2
    harmonics = np.arange(mains_hz, power.size, mains_hz)[:7]
    assert power[harmonics].sum() / power.sum() > 1 - 1e-8
    assert 10 * np.log10(np.mean(heard.astype(np.float64) ** 2) / 0.5) == pytest.approx(-40.0, abs=0.7)


def test_hum_of_two_tapes_differs_in_phase_only():
    one, other = (Hum().degrade(silence(1.0), np.random.default_rng(seed)).samples[0] for seed in (1, 2))
    assert not np.array_equal(one, other)
    assert np.abs(np.fft.rfft(one)) == pytest.approx(np.abs(np.fft.rfft(other)), abs=1e-2)


def test_hum_keeps_little_for_sample_rates_that_it_has_seen():
    # Without a common factor with the mains the period is the whole second: 7 harmonics of 8 bytes a frame, 6 MB.
    tracemalloc.start()
    try:
        for rate_hz in range(100_003, 100_103, 10):
            Hum(mains_hz=49).degrade(Signal(np.zeros((2, 10)), rate_hz), np.random.default_rng(0))
        assert tracemalloc.get_traced_memory()[0] < 3 * 7 * 8 * 100_103
    finally:
        tracemalloc.stop()


@pytest.mark.parametrize("level_db", [-45.0, -34.0])
@pytest.mark.parametrize("hertz", [1200.0, 6300.0])
def test_modulation_noise_is_500_hz_wide_about_the_tone(level_db, hertz):
    # Null: Gaussian noise of equivalent bandwidth 500 Hz in all, cubic B-spline of a grid of 1,042 Hz: its power within
    # w Hz of the middle is the integral of sinc^8 over |f| < w / 1042: 0.79 within 180 Hz, 0.987 within 350 (by
    # quadrature below). 20 s, two tracks: 20,000 degrees of freedom: s.e. 0.7 % of the whole; 5 of them.
    heard = ModulationNoise(level_db=level_db).degrade(sine(hertz, 20.0), np.random.default_rng(5)).samples
    noise = heard.astype(np.float64) - sine(hertz, 20.0).samples
    power = np.mean(noise**2)
    assert power / 0.5 == pytest.approx(10 ** (level_db / 10), rel=0.035)
    spectrum = (np.abs(np.fft.rfft(noise)) ** 2).sum(axis=0)
    off_hz = np.abs(np.fft.rfftfreq(noise.shape[1], 1 / RATE_HZ) - hertz)
    grid_hz = 500 / (2416 / 5040)
    fine = np.linspace(-3 * grid_hz, 3 * grid_hz, 60_001)
    shape = np.sinc(fine / grid_hz) ** 8
    for within_hz in (100.0, 180.0, 350.0):
        wanted = shape[np.abs(fine) < within_hz].sum() / shape.sum()
        assert spectrum[off_hz < within_hz].sum() / spectrum.sum() == pytest.approx(wanted, abs=0.035)


def test_modulation_noise_leaves_silence_alone_and_differs_between_tracks():
    assert not ModulationNoise().degrade(silence(0.5), np.random.default_rng(0)).samples.any()
    heard = ModulationNoise(level_db=-30.0).degrade(Signal(np.ones(20 * RATE_HZ), RATE_HZ), np.random.default_rng(1))
    # Null: independent; 10,000 degrees of freedom each, |correlation| within 5 / sqrt(10,000).
    assert abs(np.corrcoef(heard.samples)[0, 1]) < 0.05


def test_residue_is_absolute_and_sounds_like_speech():
    model = Residue(level_db=-40.0)
    alone = model.degrade(silence(40.0), np.random.default_rng(3)).samples
    over = model.degrade(sine(1200.0, 40.0, 0.5), np.random.default_rng(3)).samples
    assert np.abs(over - sine(1200.0, 40.0, 0.5).samples - alone).max() < 1e-6
    hz, density = scipy_signal.welch(alone[0].astype(np.float64), RATE_HZ, nperseg=8192)
    level = lambda low, high: 10 * np.log10(density[(hz > low) & (hz < high)].mean())  # noqa: E731
    # First-order slopes: 30 Hz is 14 dB below the middle, 10 kHz 16 dB, each within 1.5 dB for the spread of 40 s.
    assert level(400, 600) - level(25, 35) > 11
    assert level(400, 600) - level(9000, 11_000) == pytest.approx(16.0, abs=1.5)
    loudness = np.sqrt(np.mean(alone[0, : 40 * RATE_HZ].reshape(-1, RATE_HZ // 20).astype(np.float64) ** 2, axis=1))
    assert 0.3 < loudness.std() / loudness.mean() < 0.8


@pytest.mark.parametrize("rate_hz", [1000, 2000, 3001, 3061])
def test_residue_without_room_for_its_upper_slope_keeps_its_level_and_its_lower_slope(rate_hz):
    # 100 s: the tolerance of the calibration. 30 Hz is 14 dB below the middle, within 1.5 dB for the spread.
    heard = Residue(level_db=-40.0).degrade(silence(100.0, rate_hz), np.random.default_rng(4)).samples
    assert 10 * np.log10(np.mean(heard.astype(np.float64) ** 2) / 0.5) == pytest.approx(-40.0, abs=0.75)
    hz, density = scipy_signal.welch(heard[0].astype(np.float64), rate_hz, nperseg=rate_hz // 5)
    level = lambda low, high: 10 * np.log10(density[(hz > low) & (hz < high)].mean())  # noqa: E731
    assert level(400, 490) - level(25, 35) > 11


def test_echoes_stand_one_turn_of_the_pack_before_and_after():
    # 30 minutes of 17 um: outermost radius sqrt(11^2 + 85,680 x 0.017 / pi) = 24.2 mm, a turn 3.19 s at 47.6 mm/s.
    click = np.zeros(8 * RATE_HZ)
    click[4 * RATE_HZ] = 1.0
    heard = PrintThrough(level_db=-20.0).degrade(Signal(click, RATE_HZ), np.random.default_rng(0)).samples
    radius_mm = np.sqrt(11**2 + (1800 - 4) * 47.6 * 0.017 / np.pi)
    turn_s = 2 * np.pi * radius_mm / 47.6
    echo = np.abs(heard[0]) > 0.2 * np.abs(np.delete(heard[0], 4 * RATE_HZ)).max()
    found_s = np.flatnonzero(echo) / RATE_HZ
    early, late = found_s[found_s < 3.9], found_s[found_s > 4.1]
    # The resonance rings for some milliseconds.
    assert early.min() == pytest.approx(4 - turn_s, abs=0.003)
    assert late.min() == pytest.approx(4 + turn_s, abs=0.003)
    assert early.max() - early.min() < 0.003


@pytest.mark.parametrize(("left_s", "turn_s"), [(1800.0, 3.19), (0.0, 1.452)])
def test_turns_grow_shorter_towards_the_end(left_s, turn_s):
    # Hub of 11 mm: 2 pi 11 / 47.6 = 1.452 s.
    assert PrintThrough(left_s=left_s).turn_s(np.zeros(1)) == pytest.approx(turn_s, abs=0.005)
    turns = PrintThrough().turn_s(np.arange(0.0, 2500.0, 60.0))
    assert (np.diff(turns) <= 0).all()


def test_echoes_are_weaker_away_from_446_hz():
    # x exp(-x) about its top: an octave off, the resonance of Q 1/2 is down by 20 log10(5 / 4) = 1.9 dB.
    # At 4,460 Hz straight lines between samples cost up to 0.4 dB more, the bilinear transform 0.3 dB.
    levels = []
    for hertz in (446.0, 892.0, 223.0, 4460.0):
        times_s = np.arange(8 * RATE_HZ) / RATE_HZ
        burst = np.where(np.abs(times_s - 4) < 0.4, np.sin(2 * np.pi * hertz * times_s), 0.0)
        heard = PrintThrough(level_db=-40.0).degrade(Signal(burst, RATE_HZ), np.random.default_rng(0)).samples[0]
        middle = round((4 + PrintThrough().turn_s(np.array([4.0])).item()) * RATE_HZ)
        echo = heard[middle - 8000 : middle + 8000].astype(np.float64)
        levels.append(20 * np.log10(np.sqrt(2 * np.mean(echo**2))))
    assert levels[0] == pytest.approx(-40.0, abs=0.2)
    assert levels[1] == pytest.approx(-41.9, abs=0.3)
    assert levels[2] == pytest.approx(-41.9, abs=0.3)
    assert levels[3] == pytest.approx(-40 - 20 * np.log10(5.05), abs=0.8)


def test_without_what_is_still_to_come_a_longer_tape_starts_the_same():
    # Only what stands on the next turn may be heard before it comes: a sound that ends leaves the same tape.
    sound = np.zeros((2, 12 * RATE_HZ))
    sound[:, : 2 * RATE_HZ] = np.random.default_rng(1).uniform(-1, 1, (2, 2 * RATE_HZ))
    long = PrintThrough(level_db=-20.0).degrade(Signal(sound, RATE_HZ), np.random.default_rng(0)).samples
    for seconds in (3, 7, 9):
        short = PrintThrough(level_db=-20.0).degrade(
            Signal(sound[:, : seconds * RATE_HZ], RATE_HZ), np.random.default_rng(0)
        )
        same = seconds * RATE_HZ - 2200
        assert np.array_equal(short.samples[:, :same], long[:, :same])
