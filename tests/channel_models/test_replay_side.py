"""Crosstalk, replay amplifier and sound input; and what no model may be told."""

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tapewright.channel_models.band import Band
from tapewright.channel_models.crosstalk import Crosstalk
from tapewright.channel_models.level import Level
from tapewright.channel_models.replay_amp import ReplayAmp
from tapewright.channel_models.sound_input import SoundInput
from tapewright.contracts import registry
from tapewright.contracts.errors import UsageError
from tapewright.contracts.parameters import parameters_of
from tapewright.contracts.preset import Preset
from tapewright.contracts.signal import Signal

RATE_HZ = 44_100
INSTALLED = registry.installed("channel")
MODELS = [one for one in map(INSTALLED.load, INSTALLED.names()) if not isinstance(one, Preset)]
NUMBERS = [
    (model, declared)
    for model in MODELS
    for declared in parameters_of(model)
    if type(declared.default) in (int, float) and not declared.choices
]


def rng(seed=0):
    return np.random.default_rng(seed)


def separation_db(model, hertz, heard_on, rate_hz=RATE_HZ):
    rows = np.zeros((2, rate_hz // 2))
    turns = np.exp(2j * np.pi * hertz / rate_hz * np.arange(rows.shape[1]))
    rows[1 - heard_on] = turns.imag
    heard = model.degrade(Signal(rows, rate_hz), rng()).samples[:, rate_hz // 8 :]
    window = np.hanning(heard.shape[1]) * turns[rate_hz // 8 :].conj()
    peaks = np.abs((heard * window).sum(axis=1))
    return 20 * np.log10(peaks[1 - heard_on] / peaks[heard_on])


@pytest.mark.parametrize("rate_hz", [22_050, 44_100, 96_000])
@pytest.mark.parametrize("asked_db", [20.0, 30.0, 40.0])
def test_separation_is_that_asked_for_at_one_kilohertz_and_falls_to_both_sides(asked_db, rate_hz):
    model = Crosstalk(separation_db=asked_db)
    for heard_on in (0, 1):
        got = {
            hertz: separation_db(model, hertz, heard_on, rate_hz) for hertz in (40, 63, 125, 500, 1000, 6300, 10_000)
        }
        assert got[1000] == pytest.approx(asked_db, abs=0.02)
        assert got[40] < got[63] < got[125] < got[500] < got[1000]
        assert got[10_000] < got[6300] < got[1000]
        # DIN 45500 (secondary text): at least 20 dB at 1 kHz and 15 dB from 500 to 6,300 Hz.
        assert got[500] > asked_db - 5
        assert got[6300] > asked_db - 5
        for hertz, found in got.items():
            # The roots of the digital section bend by 0.3 dB at 10 kHz of 44.1 kHz, 2 dB at 10 kHz of 22 kHz.
            within = 0.1 if hertz <= 1000 else 0.3 if rate_hz > 40_000 else 2.2
            assert found == pytest.approx(-20 * np.log10(model.share(hertz)), abs=within)


def test_separation_falls_by_six_decibels_an_octave_then_levels():
    # (1 + jf / 150 Hz...) worked out: |(j + a) / (j + a / 6)| with a = 150 / f, times the high side's
    # |(1 + jf / 6000) / (1 + jf / 24000)|, each re 1 kHz.
    shape = lambda f: abs((1j * f + 150) / (1j * f + 25) * (1 + 1j * f / 6000) / (1 + 1j * f / 24_000))  # noqa: E731
    for hertz in (20.0, 100.0, 1000.0, 12_000.0):
        assert Crosstalk().share(hertz) == pytest.approx(10**-1.5 * shape(hertz) / shape(1000.0))


def test_crosstalk_must_not_be_upside_down():
    message = r"crosstalk: parameter 'high_hz' must be above 'low_hz' \(500 Hz\) or 0, not 200"
    with pytest.raises(UsageError, match=message):
        Crosstalk(low_hz=500.0, high_hz=200.0)


@given(seed=st.integers(0, 2**32 - 1), gain_db=st.floats(-20, 20), difference_db=st.floats(-6, 6))
def test_replay_amp_is_a_band_and_a_level(seed, gain_db, difference_db):
    told = {"gain_db": gain_db, "difference_db": difference_db, "difference_db_sd": 1.0, "inverted_chance": 0.5}
    sound = Signal(rng(seed).uniform(-1, 1, (2, 20_000)), RATE_HZ)
    heard = ReplayAmp(low_hz=40.0, high_hz=12_500.0, **told).degrade(sound, rng(seed))
    wanted = Level(**told).degrade(Band(low_hz=40.0, high_hz=12_500.0).degrade(sound, rng()), rng(seed))
    assert np.allclose(heard.samples, wanted.samples, rtol=1e-6, atol=1e-7)


@given(seed=st.integers(0, 2**32 - 1), bits=st.integers(2, 16), offset=st.floats(-0.1, 0.1))
def test_sound_input_rounds_to_whole_steps_within_its_ceiling(seed, bits, offset):
    sound = Signal(rng(seed).uniform(-1.5, 1.5, (2, 3000)), RATE_HZ)
    heard = SoundInput(bits=bits, offset=offset).degrade(sound, rng()).samples
    steps = heard.astype(np.float64) * 2 ** (bits - 1)
    assert np.array_equal(steps, np.round(steps))
    assert np.abs(heard).max() <= 1.0
    wanted = np.clip(sound.samples + np.float32(offset), -1, 1)
    assert np.abs(heard - wanted).max() <= 0.5 / 2 ** (bits - 1) + 1e-6


@pytest.mark.parametrize("ppm", [-200.0, 50.0, 10_000.0])
def test_a_fast_clock_takes_more_samples(ppm):
    # 44,100 Hz nominal, ppm faster: a second of tape is 44,100 (1 + ppm) samples, a tone that much lower.
    heard = SoundInput(clock_ppm=ppm).degrade(Signal(0.5 * np.sin(0.3 * np.arange(20 * RATE_HZ)), RATE_HZ), rng())
    assert heard.frames == pytest.approx(20 * RATE_HZ * (1 + ppm * 1e-6), abs=2)
    wanted = 0.5 * np.sin(0.3 / (1 + ppm * 1e-6) * np.arange(heard.frames))
    inner = slice(20, -20)
    assert 10 * np.log10(0.125 / np.mean((heard.samples[:, inner] - wanted[inner]) ** 2)) > 60


@given(seed=st.integers(0, 2**32 - 1))
def test_drawn_clock_error_stays_within_its_limit(seed):
    heard = SoundInput(clock_ppm_limit=1000.0).degrade(Signal(np.zeros(100_000), RATE_HZ), rng(seed))
    assert abs(heard.frames - 100_000) <= 101


@pytest.mark.parametrize(("model", "declared"), NUMBERS, ids=lambda x: getattr(x, "name", x))
def test_figures_that_cannot_be_are_usage_errors(model, declared):
    for value in (math.nan, math.inf, -math.inf, declared.low - 1, declared.high * 2 + 1):
        with pytest.raises(UsageError, match=rf"{model.name}: parameter '{declared.name}' must be [^\n]*$"):
            model(**{declared.name: value})


@pytest.mark.parametrize("model", MODELS, ids=lambda model: model.name)
def test_every_model_says_its_unit_in_the_name_or_has_none(model):
    with pytest.raises(dataclasses.FrozenInstanceError):
        model().place = "nowhere"
    assert model.nothing() == model.nothing()
