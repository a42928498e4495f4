"""What happens to a sound before it is on the tape: saturation, level control, equalisation."""

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import signal as scipy_signal
from tapewright.channel_models.equalisation import Equalisation, flux_db
from tapewright.channel_models.grades import MACHINES
from tapewright.channel_models.level_control import LevelControl
from tapewright.channel_models.saturation import Saturation
from tapewright.contracts.signal import Signal

RATE_HZ = 44_100


def rng():
    return np.random.default_rng(0)


def sine(hertz, peak=1.0, seconds=1.0, rate_hz=RATE_HZ):
    return Signal(peak * np.sin(2 * np.pi * hertz / rate_hz * np.arange(round(seconds * rate_hz))), rate_hz)


def peak_of(signal, hertz):
    row = signal.samples[0, 4000:-4000].astype(np.float64)
    window = np.hanning(row.size)
    turns = np.exp(-2j * np.pi * hertz / signal.sample_rate_hz * np.arange(row.size))
    return 2 * abs((row * window * turns).sum()) / window.sum()


@pytest.mark.parametrize("limit_db", [-8.0, -11.0, -14.0])
@pytest.mark.parametrize("rate_hz", [22_050, 44_100, 96_000])
def test_full_scale_line_up_tone_has_three_percent_third_harmonic(limit_db, rate_hz):
    # DIN 45500 (secondary text): full level is where the third harmonic is 3 %; here a sine of peak 1.0 at 315 Hz.
    heard = Saturation(high_limit_db=limit_db).degrade(sine(315.0, rate_hz=rate_hz), rng())
    assert peak_of(heard, 945.0) / peak_of(heard, 315.0) == pytest.approx(0.03, abs=2e-4)
    assert peak_of(heard, 630.0) < 1e-5
    assert peak_of(heard, 1260.0) < 1e-5


@pytest.mark.parametrize("machine", MACHINES)
def test_high_frequency_limit_is_that_of_the_machine(machine):
    # However loud the recording, no more comes back at 10 kHz.
    limit_db = MACHINES[machine].high_limit_db
    got_db = [
        20 * np.log10(peak_of(Saturation(high_limit_db=limit_db).degrade(sine(10_000.0, peak), rng()), 10_000.0))
        for peak in (0.1, 0.3, 1.0, 3.0, 10.0, 30.0)
    ]
    assert all(sooner <= later + 0.1 for sooner, later in itertools.pairwise(got_db))
    assert got_db[-1] == pytest.approx(limit_db, abs=0.2)
    # DIN 45500 allows 15 dB from 333 Hz to 10 kHz.
    assert limit_db > -15


def test_low_tones_saturate_far_later_than_high_ones():
    model = Saturation()
    low, high = (20 * np.log10(peak_of(model.degrade(sine(hertz, 100.0), rng()), hertz)) for hertz in (315.0, 10_000.0))
    assert 4 < low < 7
    assert low - high > 15


def test_small_signals_pass_unchanged():
    # The curve is x (1 - x^2 / 3 ...): at 0.001 of the drive 3e-7 of x.
    sound = Signal(1e-3 * rng().uniform(-1, 1, (2, 20_000)), RATE_HZ)
    heard = Saturation().degrade(sound, rng())
    assert np.abs(heard.samples - sound.samples).max() < 3e-8


def test_third_harmonic_grows_with_the_square_of_the_level():
    # An odd law whose first bend is cubic: 6 dB less drive, a quarter of the share (within its higher orders, 10 %).
    shares = []
    for peak in (0.5, 0.25):
        heard = Saturation().degrade(sine(315.0, peak), rng())
        shares.append(peak_of(heard, 945.0) / peak_of(heard, 315.0))
    assert shares[0] / shares[1] == pytest.approx(4.0, rel=0.1)


def test_drive_moves_the_whole_law():
    driven = Saturation(drive_db=6.0).degrade(sine(315.0, 0.5), rng())
    plain = Saturation().degrade(sine(315.0, 0.5 * 10 ** (6 / 20)), rng())
    assert np.allclose(driven.samples * 10 ** (6 / 20), plain.samples, atol=1e-5)


def test_level_control_pumps_on_bursts():
    # A gain of 20 dB stands before the first burst; the detector goes 1 - 1/e of the way with each 15 ms of full
    # deflection, and a pause of 1,500 ms lets it fall to 1/e: 8.7 dB up.
    model = LevelControl(attack_ms=15.0, decay_ms=1500.0, range_db=20.0)
    square = np.ones(6 * RATE_HZ)
    square[3 * RATE_HZ : round(4.5 * RATE_HZ)] = 0.0
    heard = model.degrade(Signal(square, RATE_HZ), rng()).samples[0]
    at = lambda seconds: 20 * np.log10(heard[round(seconds * RATE_HZ)])  # noqa: E731
    assert heard[0] == pytest.approx(10.0, rel=2e-2)
    # The detector starts at 0.1: after 15 ms at 1 - 0.9 / e = 0.669.
    assert at(0.015) == pytest.approx(-20 * np.log10(1 - 0.9 / np.e), abs=0.1)
    assert at(2.9) == pytest.approx(0.0, abs=0.1)
    assert at(4.5001) == pytest.approx(20 * np.log10(np.e), abs=0.1)
    assert at(5.9) == pytest.approx(0.0, abs=0.1)


def test_level_control_stays_within_its_range_and_links_the_tracks():
    quiet = np.zeros((2, RATE_HZ))
    quiet[0] = 1e-4
    quiet[1] = 5e-5
    heard = LevelControl(range_db=12.0).degrade(Signal(quiet, RATE_HZ), rng()).samples
    assert np.allclose(heard, 10 ** (12 / 20) * quiet, rtol=1e-5)
    loud = LevelControl(range_db=12.0).degrade(Signal(100 * np.ones(RATE_HZ), RATE_HZ), rng()).samples
    assert loud[:, -1] == pytest.approx(100 * 10 ** (-12 / 20), rel=1e-5)


@pytest.mark.parametrize(
    ("hertz", "at_120", "at_70", "re_120", "re_70", "difference"),
    [  # N(f) of IEC 60094-1 with 3180 us; time constants as reported by Hess (2006)
        (100, 0.946, 0.962, 1.076, 0.937, 0.016),
        (315, -0.130, 0.026, 0.0, 0.0, 0.156),
        (1000, -1.944, -0.757, -1.814, -0.783, 1.187),
        (3150, -8.221, -4.652, -8.091, -4.678, 3.569),
        (6300, -13.722, -9.384, -13.592, -9.410, 4.338),
        (10_000, -17.623, -13.084, -17.493, -13.110, 4.538),
        (12_500, -19.534, -14.945, -19.404, -14.971, 4.589),
        (16_000, -21.659, -17.035, -21.529, -17.060, 4.625),
    ],
)
def test_equalisation_is_that_of_the_table(hertz, at_120, at_70, re_120, re_70, difference):
    # Rounded to 0.001 dB; differences of rounded values to 0.0015.
    got = [float(flux_db(hertz, us)) for us in (120.0, 70.0)]
    line_up = [float(flux_db(315.0, us)) for us in (120.0, 70.0)]
    assert got == pytest.approx([at_120, at_70], abs=6e-4)
    assert [a - b for a, b in zip(got, line_up, strict=True)] == pytest.approx([re_120, re_70], abs=1.1e-3)
    # A tape for 120 us replayed at 70 us lacks the difference; the other way round it has it too much.
    for rate_hz in (44_100, 96_000):
        dull = Equalisation(recorded_us=120.0, replayed_us=70.0).degrade(sine(hertz, 0.1, rate_hz=rate_hz), rng())
        sharp = Equalisation(recorded_us=70.0, replayed_us=120.0).degrade(sine(hertz, 0.1, rate_hz=rate_hz), rng())
        lost, won = (20 * np.log10(peak_of(heard, hertz) / 0.1) for heard in (dull, sharp))
        assert lost == pytest.approx(-difference, abs=0.1)
        assert won == pytest.approx(difference, abs=0.1)


def test_equalisation_corners_are_those_of_the_time_constants():
    # 3180, 120 and 70 us: 50.05, 1326.3 and 2273.6 Hz, where one term of N is 3.01 dB; far above both, 4.682 dB apart.
    for us, hertz in ((120.0, 1326.3), (70.0, 2273.6)):
        assert 10 * np.log10(1 + (2e-6 * np.pi * hertz * us) ** 2) == pytest.approx(3.0103, abs=5e-4)
        above = flux_db(hertz, us, low_us=1e9)
        assert float(above) == pytest.approx(-3.0103, abs=5e-4)
    assert float(flux_db(50.05, 1e-3)) == pytest.approx(3.0103, abs=2e-3)
    assert float(flux_db(1e6, 70.0) - flux_db(1e6, 120.0)) == pytest.approx(20 * np.log10(120 / 70), abs=1e-4)


@given(recorded_us=st.floats(30.0, 500.0), replayed_us=st.floats(30.0, 500.0))
def test_equalisation_is_the_bilinear_network_of_scipy(recorded_us, replayed_us):
    sound = Signal(np.random.default_rng(1).uniform(-1, 1, (2, 2000)), RATE_HZ)
    heard = Equalisation(recorded_us=recorded_us, replayed_us=replayed_us).degrade(sound, rng())
    bent = [2 * RATE_HZ * np.tan(1e6 / us / 2 / RATE_HZ) for us in (replayed_us, recorded_us)]
    numerator, denominator = scipy_signal.bilinear([1 / bent[0], 1.0], [1 / bent[1], 1.0], fs=RATE_HZ)
    wanted = scipy_signal.lfilter(numerator, denominator, sound.samples.astype(np.float64))
    if recorded_us == replayed_us:
        assert heard == sound
    else:
        assert np.abs(heard.samples - wanted).max() < 1e-5


@pytest.mark.parametrize("model", [Saturation(), LevelControl(), Equalisation(replayed_us=70.0)], ids=lambda m: m.name)
def test_longer_tape_starts_the_same(model):
    long = Signal(np.random.default_rng(2).uniform(-1, 1, (2, 60_000)), RATE_HZ)
    whole = model.degrade(long, rng()).samples
    for frames in (300, 4096, 4097, 33_333):
        short = model.degrade(Signal(long.samples[:, :frames], RATE_HZ), rng()).samples
        # The last frames may be rounded otherwise: loops run eight or sixteen at a time.
        same = max(0, frames - 128)
        assert np.array_equal(short[:, :same], whole[:, :same])
