"""Wow and flutter against the standard's weighting, published readings and the geometry of decks."""

import numpy as np
import pytest
from tapewright.channel_models import wow_and_flutter
from tapewright.channel_models.drift import Drift
from tapewright.channel_models.reels import pack_radius_mm, turns_per_s
from tapewright.contracts.signal import Signal

# Hz, dB, and the 2-sigma reading in % of 0.1 % peak sinusoidal FM: IEC 60386 / AES6-2008, as a public implementation
# quotes the table; readings computed from it, A sin(0.95 pi / 2) being the value that a sine exceeds 5 % of the time.
TABLE = np.array(
    [
        *((0.1, -48.0, 0.00040), (0.2, -30.6, 0.00294), (0.315, -19.7, 0.01032), (0.4, -15.0, 0.01773)),
        *((0.63, -8.4, 0.03790), (0.8, -6.0, 0.04996), (1.0, -4.2, 0.06147), (1.6, -1.8, 0.08103)),
        *((2.0, -0.9, 0.08988), (4.0, 0.0, 0.09969), (6.3, -0.9, 0.08988), (10.0, -2.1, 0.07828)),
        *((20.0, -5.9, 0.05054), (40.0, -10.4, 0.03011), (63.0, -14.2, 0.01944), (100.0, -17.3, 0.01360)),
        (200.0, -23.0, 0.00706),
    ]
)


def two_sigma(deviation, step_s):
    """The weighted deviation's value that is exceeded 5 % of the time; weights straight from the table."""
    hz = np.fft.rfftfreq(deviation.size, step_s)
    decibels = np.interp(np.log(np.maximum(hz, 1e-3)), np.log(TABLE[:, 0]), TABLE[:, 1])
    weights = np.where((hz >= 0.1) & (hz <= 200), 10 ** (decibels / 20), 0.0)
    return float(
        np.quantile(np.abs(np.fft.irfft(np.fft.rfft(deviation - deviation.mean()) * weights, deviation.size)), 0.95)
    )


def played(model, seconds, seed=0, rate_hz=8000):
    """Speed deviation in %, and the time between its values."""
    motion = model.motion(seconds * rate_hz, rate_hz, np.random.default_rng(seed))
    return 100 * (motion.slopes - 1), motion.knot_frames / rate_hz


def test_weighting_is_the_table():
    assert 20 * np.log10(wow_and_flutter.weighting(TABLE[:, 0])) == pytest.approx(TABLE[:, 1], abs=1e-9)


def test_weighting_goes_on_falling_beyond_the_table():
    outside = wow_and_flutter.weighting([0.01, 0.05, 400.0, 4000.0])
    assert outside[0] < outside[1] < wow_and_flutter.weighting(0.1)
    assert outside[3] < outside[2] < wow_and_flutter.weighting(200.0)


@pytest.mark.parametrize(("hertz", "decibels", "reading"), TABLE)
def test_readings_of_a_sine_are_the_computed_column(hertz, decibels, reading):
    assert 0.1 * 10 ** (decibels / 20) * np.sin(0.95 * np.pi / 2) == pytest.approx(reading, abs=6e-6)


@pytest.mark.parametrize(("hertz", "reading"), [(4.0, 0.0997), (0.8, 0.0499), (20.0, 0.0506), (0.2, 0.0030)])
def test_a_tenth_of_a_percent_gives_the_published_reading(hertz, reading):
    # A measuring guide's readings for 0.1 % peak FM, printed to 0.0001 %; the table's own rounding to 0.1 dB is 1.2 %.
    deviation = 0.1 * np.sin(2 * np.pi * hertz * np.arange(0, 200, 1 / 512))
    assert two_sigma(deviation, 1 / 512) == pytest.approx(reading, rel=0.012, abs=6e-5)


@pytest.mark.parametrize(("hertz", "reading"), [(4.0, 0.0997), (0.8, 0.0499)])
def test_wow_gives_the_published_reading(hertz, reading):
    # Its phase wanders by 0.3 rad a period, which widens the line: its wings weigh more where the weights rise steeply
    # towards 4 Hz, up to 5 % at 0.8 Hz.
    deviation, step_s = played(Drift(wow_percent=0.1, wow_hz=hertz), 600)
    assert two_sigma(deviation, step_s) == pytest.approx(reading, rel=0.06)


def test_flutter_of_20_hz_gives_the_published_reading():
    deviation, step_s = played(Drift(flutter_percent=0.1, flutter_hz=20.0), 60)
    assert two_sigma(deviation, step_s) == pytest.approx(0.0506, rel=0.02)


@pytest.mark.parametrize(
    ("diameter_mm", "hertz"),
    [  # v / (pi D) at 47.6 mm/s: capstans, pinch rollers, guide rollers of shells
        *((2.0, 7.576), (2.2, 6.887), (2.5, 6.061), (3.0, 5.051)),
        *((10.0, 1.515), (11.0, 1.377), (12.5, 1.212), (13.0, 1.166), (6.0, 2.525), (8.0, 1.894)),
    ],
)
def test_parts_turn_as_their_diameters_say(diameter_mm, hertz):
    assert wow_and_flutter.rotation_hz(diameter_mm) == pytest.approx(hertz, abs=6e-4)


def test_packs_are_as_thick_and_as_fast_as_worked_out():
    # Hub of 11 mm: empty 0.689 Hz; 25.2 mm 0.300 Hz; 19.5 mm 0.389 Hz. R^2 = r0^2 + L t / pi; 90 m of 18 um reach
    # 25.23 mm, so that 90 x 18 / 17 m of 17 um do.
    assert float(turns_per_s(0.0)) == pytest.approx(0.689, abs=6e-4)
    assert float(pack_radius_mm(90_000 * 18 / 17 / 47.6)) == pytest.approx(25.23, abs=0.005)
    for radius_mm, hertz in ((25.2, 0.300), (19.5, 0.389)):
        wound_s = np.pi * (radius_mm**2 - 11**2) / 0.017 / 47.6
        assert float(turns_per_s(wound_s)) == pytest.approx(hertz, abs=2e-3)


def test_both_reels_meet_in_the_middle_of_the_tape():
    # Counting the turns of each reel over a minute in the middle of 30 minutes.
    supply = wow_and_flutter.Turning(1.0, float(turns_per_s(1800.0)), 1800.0, -1)
    take_up = wow_and_flutter.Turning(1.0, float(turns_per_s(0.0)), 0.0, 1)
    middle_s = np.array([870.0, 930.0])
    counted = [np.diff(reel.turns(middle_s)).item() / 60 for reel in (supply, take_up)]
    assert counted[0] == pytest.approx(counted[1], rel=1e-3)
    starts_s = np.array([0.0, 60.0])
    assert np.diff(take_up.turns(starts_s)).item() / 60 == pytest.approx(float(turns_per_s(30.0)), rel=1e-3)
    beyond_s = np.array([2000.0, 2060.0])
    assert np.diff(supply.turns(beyond_s)).item() / 60 == pytest.approx(0.689, abs=1e-3)


@pytest.mark.parametrize("decks", [1, 2])
def test_two_sigma_factor_is_that_of_the_mixture(decks):
    # Null: 400,000 draws of the sum of sines at random phases and a Gaussian; seed 8. The density at the quantile is
    # some 0.12 a rms, so that its s.e. is sqrt(0.05 x 0.95 / N) / 0.12 = 0.3 %; 5 of them.
    rng = np.random.default_rng(8)
    total = np.sqrt(0.30) * rng.standard_normal(400_000)
    for share, count in ((0.45, decks), (0.20, decks), (0.05, 2 * decks)):
        for _ in range(count):
            total += np.sqrt(2 * share / count) * np.sin(rng.uniform(0, 2 * np.pi, total.size))
    assert wow_and_flutter.two_sigma_factor(decks) == pytest.approx(np.quantile(np.abs(total), 0.95), rel=0.015)


def test_shares_of_the_weighted_power_are_those_of_the_table():
    # Capstan 45 %, roller 20 %, reels 5 %, noise 30 %: 10 tapes of 120 s, one deck; the power within 15 % about each
    # line. A tape's noise has 2,400 degrees of freedom, s.e. 3 % of 0.3; its power about the lines is 4 %.
    shares = []
    for seed in range(10):
        model = Drift(weighted_percent=0.2, capstan_mm=2.2, roller_mm=12.0)
        deviation, step_s = played(model, 120, seed)
        hz = np.fft.rfftfreq(deviation.size, step_s)
        power = np.abs(np.fft.rfft(deviation - deviation.mean())) ** 2 * wow_and_flutter.weighting(hz) ** 2
        about = [(hz > low) & (hz < high) for low, high in ((5.9, 8.1), (1.05, 1.5), (0.2, 0.8))]
        shares.append([power[band].sum() / power.sum() for band in about])
    assert np.mean(shares, axis=0) == pytest.approx([0.45, 0.20, 0.05], abs=0.04)


@pytest.mark.parametrize("decks", [1, 2])
@pytest.mark.parametrize("percent", [0.05, 0.2, 0.5])
def test_weighted_percent_is_what_the_meter_reads(decks, percent):
    # s.e. of one tape of 120 s about 1.5 % (noise 30 % of the power with 2,400 degrees of freedom, two capstans that
    # beat), five tapes 0.7 %; 3 %.
    readings = [two_sigma(*played(Drift(weighted_percent=percent, decks=decks), 120, seed)) for seed in range(5)]
    assert np.mean(readings) == pytest.approx(percent, rel=0.03)


def test_same_deck_cancels_the_drawn_offset_only():
    for seed in range(5):
        deviation, _ = played(Drift(speed_percent_limit=3.0, decks=2, same_deck=True, weighted_percent=0.1), 20, seed)
        assert abs(deviation.mean()) < 0.05
        assert deviation.std() > 0.02
    offset, _ = played(Drift(speed_percent=1.0, speed_percent_limit=3.0, same_deck=True), 2)
    assert offset == pytest.approx(1.0)


def test_start_up_lets_the_pitch_rise_to_its_place():
    # speed = 1 - exp(-t / tau): 63.2 % at tau, 95.0 % at 3 tau; the tape lasts tau longer.
    model = Drift(start_up_ms=200.0)
    motion = model.motion(8000, 8000, np.random.default_rng(0))
    times_s = motion.knot_frames / 8000 * np.arange(motion.slopes.size)
    assert np.interp([0.2, 0.6], times_s, motion.slopes) == pytest.approx([0.632, 0.950], abs=2e-3)
    assert motion.outputs == pytest.approx(8000 * 1.2, abs=12)
    heard = model.degrade(Signal(np.sin(0.5 * np.arange(8000)), 8000), np.random.default_rng(0))
    assert heard.frames == motion.outputs


def test_scrape_is_left_out_where_the_sample_rate_has_no_room():
    sound = Signal(np.sin(0.5 * np.arange(8000)), 8000)
    assert Drift(scrape_percent=0.5).degrade(sound, np.random.default_rng(0)) == sound
