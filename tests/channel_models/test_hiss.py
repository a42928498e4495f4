"""Hiss: how strong, which colour, and the same on every tape of a name."""

import numpy as np
import pytest
from scipy import signal as scipy_signal
from tapewright.channel_models.hiss import Hiss
from tapewright.contracts.signal import Signal


def silence(seconds, rate_hz=44_100):
    return Signal(np.zeros((2, round(seconds * rate_hz))), rate_hz)


def level_db(signal, low_hz=20.0, high_hz=20_000.0):
    """Power in a band re the 3 % level (a sine of peak 1), by Welch's method of scipy."""
    hz, density = scipy_signal.welch(signal.samples.astype(np.float64), signal.sample_rate_hz, nperseg=8192)
    inside = (hz >= low_hz) & (hz <= high_hz)
    return 10 * np.log10(density[:, inside].sum(axis=1) * hz[1] / 0.5)


@pytest.mark.parametrize("rate_hz", [44_100, 48_000, 96_000])
@pytest.mark.parametrize("shape", ["flat", "replay"])
def test_level_is_the_power_from_20_hz_to_20_khz_at_any_rate(rate_hz, shape):
    # Null: the density asked for; seed 5. 20 s x 20 kHz: relative s.e. of a power 0.16 % flat, 0.32 % at most shaped
    # (effective bandwidth above 5 kHz): 0.1 dB is 7 s.e. or more, false alarm below 1e-10. The edges of the bins add
    # 5.4 Hz of 20 kHz: 0.001 dB.
    heard = Hiss(level_db=-46.0, shape=shape).degrade(silence(20.0, rate_hz), np.random.default_rng(5))
    assert np.abs(level_db(heard) + 46.0).max() < 0.1


def test_density_does_not_depend_on_the_sample_rate():
    # As above, 0 to 3.5 kHz: 35,000 degrees of freedom in 10 s, s.e. 0.023 dB; 0.15 dB is 6.5 of them.
    wanted = -40 + 10 * np.log10(3480 / 19_980)
    for rate_hz in (8_000, 44_100):
        heard = Hiss(level_db=-40.0).degrade(silence(10.0, rate_hz), np.random.default_rng(6))
        assert np.abs(level_db(heard, 20.0, 3500.0) - wanted).max() < 0.15


def test_replay_shape_is_the_published_equalisation_with_its_end():
    # N(f) of IEC 60094-1, 120 us, as an amplitude: sqrt(1 + (2 pi f 120 us)^2), levelling at 15 us. Octaves from
    # 500 Hz to 8 kHz re 500 Hz; 20 s, octave of 350 Hz or more: s.e. 0.05 dB; the bilinear transform bends 0.2 dB.
    heard = Hiss(level_db=-20.0, shape="replay").degrade(silence(20.0, 96_000), np.random.default_rng(7))
    centres = np.array([500.0, 1000.0, 2000.0, 4000.0, 8000.0])
    got = np.array([level_db(heard, f / 1.2, f * 1.2).mean() - 10 * np.log10(f) for f in centres])
    power = (1 + (2 * np.pi * centres * 120e-6) ** 2) / (1 + (2 * np.pi * centres * 15e-6) ** 2)
    assert np.abs(got - got[0] - 10 * np.log10(power / power[0])).max() < 0.4


def test_replay_shape_is_the_flat_noise_filtered_once_from_the_start():
    # The same noise either way, so that no piece of it comes twice: (1 + s 120 us) / (1 + s 15 us) by scipy's bilinear
    # transform, of unknown gain, over 10 s, which is more than one piece.
    rng = np.random.default_rng
    flat, shaped = (
        Hiss(level_db=-20.0, shape=shape).degrade(silence(10.0), rng(8)).samples for shape in ("flat", "replay")
    )
    numerator, denominator = scipy_signal.bilinear([120e-6, 1.0], [15e-6, 1.0], fs=44_100)
    wanted = scipy_signal.lfilter(numerator, denominator, flat.astype(np.float64))
    wanted *= np.abs(shaped).max() / np.abs(wanted).max()
    assert np.abs(shaped - wanted).max() < 1e-5 * np.abs(wanted).max()


def test_noise_is_absolute():
    rng = np.random.default_rng
    tone = Signal(0.5 * np.sin(0.1 * np.arange(20_000)), 44_100)
    only = Hiss().degrade(silence(20_000 / 44_100), rng(1)).samples
    assert np.abs(Hiss().degrade(tone, rng(1)).samples - tone.samples - only).max() < 1e-7


@pytest.mark.parametrize("shape", ["flat", "replay"])
def test_longer_tape_starts_the_same(shape):
    model = Hiss(shape=shape)
    long = model.degrade(silence(13.0), np.random.default_rng(2)).samples
    for seconds in (0.01, 1.0, 6.1):
        short = model.degrade(silence(seconds), np.random.default_rng(2)).samples
        assert np.array_equal(short, long[:, : short.shape[1]])


def test_tracks_and_tapes_are_independent():
    # Null: independent white Gaussian noise; N = 441,000 frames, seeds 0 to 4; 10 pairs of tapes and 5 of tracks,
    # each within 5 s.e.: false alarm 9e-6.
    tapes = [Hiss().degrade(silence(10.0), np.random.default_rng(seed)).samples.astype(np.float64) for seed in range(5)]
    rows = [rows / rows.std() for rows in tapes]
    frames = rows[0].shape[1]
    for i, here in enumerate(rows):
        assert abs((here[0] * here[1]).mean()) * np.sqrt(frames) < 5
        for there in rows[:i]:
            assert abs((here[0] * there[0]).mean()) * np.sqrt(frames) < 5


def test_place_may_be_the_replay_amplifier():
    assert Hiss().place == "tape"
    assert Hiss(place="replay").place == "replay"
