"""Level, crosstalk, clip and band."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import signal as scipy_signal
from tapewright.channel_models.band import Band
from tapewright.channel_models.clip import Clip
from tapewright.channel_models.crosstalk import Crosstalk
from tapewright.channel_models.draws import gaussian
from tapewright.channel_models.level import Level
from tapewright.contracts.errors import UsageError
from tapewright.contracts.signal import Signal

RATE_HZ = 44_100


def rng(seed=0):
    return np.random.default_rng(seed)


def sound(seed=1, frames=5000, rate_hz=RATE_HZ):
    return Signal(rng(seed).uniform(-1, 1, (2, frames)), rate_hz)


@given(gain_db=st.floats(-60, 40), difference_db=st.floats(-20, 20))
def test_level_is_gain_and_difference(gain_db, difference_db):
    sent = sound()
    heard = Level(gain_db=gain_db, difference_db=difference_db).degrade(sent, rng())
    for row, sign in enumerate((1, -1)):
        gain = 10 ** ((gain_db + sign * difference_db / 2) / 20)
        assert np.allclose(heard.samples[row], gain * sent.samples[row], rtol=3e-7, atol=0)


def test_polarity_is_inverted_as_often_as_asked():
    # Null: binomial with chance 0.3, 2,000 tapes, seeds 0 to 1999: 600 expected, s.d. 20.5; 5 s.d. False alarm 6e-7.
    sent = Signal(np.ones((2, 1)), RATE_HZ)
    model = Level(inverted_chance=0.3)
    assert abs(sum(model.degrade(sent, rng(seed)).samples[0, 0] < 0 for seed in range(2000)) - 600) < 103
    for chance, sign in ((0.0, 1), (1.0, -1)):
        heard = [Level(inverted_chance=chance).degrade(sent, rng(seed)).samples for seed in range(50)]
        assert np.array_equal(np.unique(heard), [sign])


def test_drawn_difference_has_its_deviation():
    # Null: Gaussian of s.d. 1 dB truncated at 2.5, whose s.d. is 0.949 (closed form). 2,000 tapes: s.e. 1.5 %; 5 s.e.
    sent = Signal(np.ones((2, 1)), RATE_HZ)
    model = Level(difference_db_sd=1.0)
    heard = np.array([model.degrade(sent, rng(seed)).samples[:, 0] for seed in range(2000)])
    differences = 20 * np.log10(heard[:, 0] / heard[:, 1])
    assert abs(differences.std() / 0.949 - 1) < 5 * 0.015
    assert np.abs(differences).max() <= 2.5 + 1e-4


def test_gaussian_draws_end_at_two_and_a_half():
    # Null: truncated normal; 20,000 draws from seed 3. Untruncated, 248 beyond 2.5 would be expected.
    source = rng(3)
    drawn = [gaussian(source) for _ in range(20_000)]
    assert max(map(abs, drawn)) <= 2.5
    assert max(map(abs, drawn)) > 2.4


@given(separation_db=st.floats(0, 120))
def test_crosstalk_adds_the_neighbour(separation_db):
    sent = sound(frames=70_000)
    heard = Crosstalk(separation_db=separation_db, low_hz=0.0, high_hz=0.0).degrade(sent, rng())
    wanted = sent.samples + 10 ** (-separation_db / 20) * sent.samples[::-1].astype(np.float64)
    assert np.abs(heard.samples - wanted).max() < 3e-7


@given(ceiling=st.floats(0.01, 2.0))
def test_clip_is_a_ceiling(ceiling):
    sent = sound()
    heard = Clip(ceiling=ceiling).degrade(sent, rng())
    ceiling = np.float32(ceiling)
    assert np.array_equal(heard.samples, np.maximum(-ceiling, np.minimum(ceiling, sent.samples)))


@given(
    low_hz=st.floats(1, 400),
    high_hz=st.floats(500, 21_000),
    order=st.integers(1, 8),
    rate_hz=st.sampled_from([8_000, 44_100, 96_000]),
)
def test_band_is_the_butterworth_filter_of_scipy(low_hz, high_hz, order, rate_hz):
    sent = sound(frames=4000, rate_hz=rate_hz)
    heard = Band(low_hz=low_hz, high_hz=high_hz, order=order).degrade(sent, rng())
    wanted = sent.samples.astype(np.float64)
    wanted = scipy_signal.sosfilt(scipy_signal.butter(order, low_hz, "high", fs=rate_hz, output="sos"), wanted)
    if high_hz < 0.49 * rate_hz:
        wanted = scipy_signal.sosfilt(scipy_signal.butter(order, high_hz, "low", fs=rate_hz, output="sos"), wanted)
    assert np.abs(heard.samples - wanted).max() < 5e-6


def test_band_leaves_out_a_point_beyond_the_sample_rate():
    sent = sound(rate_hz=22_050)
    assert Band(low_hz=0.0, high_hz=12_500.0).degrade(sent, rng()) == sent


def test_band_must_not_be_upside_down():
    with pytest.raises(UsageError, match=r"band: parameter 'high_hz' must be above 'low_hz' \(300 Hz\) or 0, not 200"):
        Band(low_hz=300.0, high_hz=200.0)


@pytest.mark.parametrize("model", [Level(gain_db=3.0), Crosstalk(), Clip(ceiling=0.3), Band()], ids=lambda m: m.name)
def test_longer_tape_starts_the_same(model):
    long = sound(frames=200_000)
    whole = model.degrade(long, rng()).samples
    for frames in (1, 4097, 70_001):
        short = model.degrade(Signal(long.samples[:, :frames], RATE_HZ), rng()).samples
        assert np.array_equal(short, whole[:, :frames])
