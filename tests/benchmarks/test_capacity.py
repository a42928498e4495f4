"""The capacity: the handbook's formula and tables, the probe that feeds it, and the law that nobody exceeds it."""

from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tapewright.benchmarks.capacity import capacity, water_filling
from tapewright.benchmarks.probe import HIGHEST_HZ, probe
from tapewright.benchmarks.strength import FULL_SCALE_SINE, Strength
from tapewright.contracts import registry
from tapewright.contracts.channel_model import Channel, ChannelModel
from tapewright.contracts.parameters import parameter
from tapewright.contracts.signal import Signal
from tapewright.contracts.streams import stream

RECORD_POWER = FULL_SCALE_SINE.powers[0]

TOOTH_HZ = 44_100 / 128
"""From one probed frequency to the next; a band that ends between two is off by half of this."""


@dataclass(frozen=True)
class Slope(ChannelModel):
    """A band that ends like a wall, with a signal-to-noise ratio that falls in dB from 0 Hz to its end."""

    name = "toy_slope"
    summary = "A toy: a band with a wall, a slope and white noise."
    place = "tape"

    band_hz: float = parameter(8000.0, "Where it ends.", unit="Hz", low=100.0, high=20_000.0)
    first_db: float = parameter(40.0, "Signal to noise at 0 Hz.", unit="dB", low=-60.0, high=90.0)
    last_db: float = parameter(40.0, "Signal to noise at the end.", unit="dB", low=-60.0, high=90.0)

    def degrade(self, signal, rng):
        density = RECORD_POWER / self.band_hz * 10 ** (-self.first_db / 10)
        noise = rng.normal(0, np.sqrt(density * signal.sample_rate_hz / 2), signal.samples.shape)
        frequency_hz = np.fft.rfftfreq(signal.frames, 1 / signal.sample_rate_hz)
        gain = 10 ** ((self.last_db - self.first_db) * frequency_hz / self.band_hz / 20) * (frequency_hz < self.band_hz)
        heard = np.fft.irfft(np.fft.rfft(signal.samples) * gain, signal.frames)
        return Signal(heard + noise, signal.sample_rate_hz)

    @classmethod
    def nothing(cls):
        raise NotImplementedError


@dataclass(frozen=True)
class Restless(ChannelModel):
    """Every sample has a gain of its own."""

    name = "toy_restless"
    summary = "A toy: a gain that never holds still."
    place = "tape"

    def degrade(self, signal, rng):
        return Signal(signal.samples * rng.uniform(0, 2, signal.samples.shape), signal.sample_rate_hz)

    @classmethod
    def nothing(cls):
        raise NotImplementedError


# C = B log2(1 + 10^(SNR/10)) (Shannon 1949) for plausible decks: worked figures a track.
FLAT = [(3000, 30, 29_902), (8000, 40, 106_303), (12_500, 46, 191_011), (12_500, 56, 232_535), (15_000, 50, 249_145)]
# The same with a ratio that falls in dB, integrated numerically.
SLOPING = [(12_500, 50, 20, 145_360), (15_000, 55, 15, 174_475)]


@pytest.mark.parametrize(("band_hz", "ratio_db", "bits_per_s"), FLAT)
def test_a_flat_channel_has_the_capacity_of_the_formula(band_hz, ratio_db, bits_per_s):
    gain = np.full(500, 10 ** (ratio_db / 10) * band_hz)
    assert water_filling(gain, np.zeros(500), band_hz / 500, 1.0) == pytest.approx(bits_per_s, abs=1)


@pytest.mark.parametrize(("band_hz", "first_db", "last_db", "bits_per_s"), SLOPING)
def test_a_sloping_channel_has_at_least_what_a_flat_spectrum_gets_through(band_hz, first_db, last_db, bits_per_s):
    # The worked figures spread the power evenly. Even the weakest place is 15 dB up, so water-filling gains little:
    # log2(1 + SNR) / (log2 of SNR) there is 1.009.
    ratio_db = np.linspace(first_db, last_db, 2001)[:-1] + (last_db - first_db) / 4000
    found = water_filling(10 ** (ratio_db / 10) * band_hz, np.zeros(2000), band_hz / 2000, 1.0)
    assert bits_per_s - 1 <= found < 1.001 * bits_per_s


@pytest.mark.parametrize(
    ("band_hz", "first_db", "last_db", "bits_per_s"), [(*row[:2], *row[1:]) for row in FLAT] + SLOPING
)
def test_probed_channels_have_the_capacity_of_the_formula(band_hz, first_db, last_db, bits_per_s):
    # The whole way, through the model. The noise at each probed frequency comes from some 160 independent pieces, so
    # the mean of the logarithm is off by 1 / (2 * 160) nats = 0.005 bit of about 13; the band's end by half a tooth.
    slope = Slope(band_hz=float(band_hz), first_db=float(first_db), last_db=float(last_db))
    found = capacity(Channel((slope,)))
    assert found.without is None
    allowed = 0.005 + TOOTH_HZ / 2 / band_hz
    assert found.one_track_bits_per_s == pytest.approx(bits_per_s, rel=allowed)
    assert found.both_tracks_bits_per_s == pytest.approx(2 * bits_per_s, rel=allowed)


def test_water_is_filled_as_by_hand():
    # T. M. Cover and J. A. Thomas, Elements of Information Theory, section 9.4, with noise 1, 2 and 7 and a power of 5:
    # the level is 4, the last channel stays dry. In bits a use of both halves: log2(4) + log2(2) = 3.
    assert water_filling(1 / np.array([1.0, 2.0, 7.0]), np.zeros(3), 1.0, 5.0) == pytest.approx(3.0)


@given(st.integers(0, 2**32 - 1))
def test_no_other_way_to_spread_the_power_gets_more_through(seed):
    # Two channels and all ways to share out the power in steps of 1 / 4,000: the best of them loses next to nothing.
    rng = np.random.default_rng(seed)
    gain, grain = 10 ** rng.uniform(-1, 2, 2), rng.uniform(0, 1, 2)
    share = np.linspace(0, 1, 4001)
    strength = gain * np.stack([share, 1 - share], axis=1) * 3.0 / 2.0
    best = 2.0 * np.log2(1 + strength / (1 + grain * strength)).sum(axis=1).max()
    assert best * (1 - 1e-12) <= water_filling(gain, grain, 2.0, 3.0) < best * (1 + 1e-4)


def test_the_probe_reads_noise_and_graininess_as_the_models_state_them():
    # Hiss of -46 dB over 20 Hz to 20 kHz re a sine of peak 1: s.e. of the power of 20 kHz in 0.74 s 0.8 %, 5 of them
    # are 0.17 dB. Modulation noise of -38 dB, 500 Hz wide, the same at each tooth: 370 degrees of freedom, s.e. 7 %, 5
    # of them are 1.5 dB.
    found = probe(registry.channel("modulation_noise:level_db=-38/hiss:level_db=-46"), 44_100, 1, 0)
    power = np.trace(found.noise, axis1=1, axis2=2).real.sum() * found.tooth_hz / 2
    whole_db = 10 * np.log10(power * HIGHEST_HZ / (found.tooth_hz * len(found.noise)) / RECORD_POWER)
    assert whole_db == pytest.approx(-46.0, abs=0.2)
    assert 10 * np.log10(found.graininess.mean()) == pytest.approx(-38.0, abs=1.5)
    assert np.abs(found.response - np.eye(2)).max() < 0.02


def test_slow_changes_that_a_receiver_can_follow_are_no_noise():
    # Contact that changes at 1 to 20 Hz: what little reaches 80 Hz is 40 dB below the signal at 10 kHz.
    found = probe(registry.channel("contact:fluctuation_um=0.1"), 44_100, 1, 0)
    assert 10 * np.log10(found.graininess[: int(10_000 / found.tooth_hz)].max()) < -45


def test_crosstalk_costs_next_to_nothing():
    # [[1, a], [a, 1]] with a = 0.1 at 20 dB: the product of the singular values is 1 - a^2, 0.015 bit a hertz of 15,
    # where the noise comes after it.
    specs = ("hiss:place=replay", "crosstalk:separation_db=20/hiss:place=replay")
    clean, mixed = (capacity(registry.channel(spec)) for spec in specs)
    assert mixed.both_tracks_bits_per_s == pytest.approx(clean.both_tracks_bits_per_s, rel=0.005)


def test_what_comes_and_goes_or_bends_is_left_out():
    clean = capacity(registry.channel("hiss"))
    for spec in ("drift:speed_percent=3,weighted_percent=0.2/hiss", "dropouts:per_minute=600/hiss"):
        assert capacity(registry.channel(spec)) == clean
    bent = capacity(registry.channel("saturation:high_limit_db=-14/hiss/clip:ceiling=0.5"))
    assert bent.both_tracks_bits_per_s == pytest.approx(clean.both_tracks_bits_per_s, rel=1e-6)


def test_better_decks_and_better_tapes_hold_more():
    def of(name):
        return capacity(registry.channel(name)).both_tracks_bits_per_s

    assert of("new") > of("played") > of("worn") > of("attic")
    assert of("good-worn") > of("ordinary-worn") > of("portable-worn")


def test_one_track_holds_about_half():
    found = capacity(registry.channel("played"))
    assert 0.45 < found.one_track_bits_per_s / found.both_tracks_bits_per_s < 0.55


@pytest.mark.parametrize(
    ("spec", "why"),
    [
        ("wire", "free of noise"),
        ("skew:skew_us=20", "free of noise"),
        ("level:gain_db=-6", "free of noise"),
    ],
)
def test_channels_without_noise_have_no_bound(spec, why):
    found = capacity(registry.channel(spec))
    assert (found.one_track_bits_per_s, found.both_tracks_bits_per_s) == (None, None)
    assert why in found.without


def test_a_channel_that_cannot_be_probed_says_so():
    assert "does not hold still" in capacity(Channel((Restless(),))).without


def test_a_channel_is_probed_once():
    first = capacity(registry.channel("hiss:level_db=-41"))
    assert capacity(registry.channel("hiss:level_db=-41")) is first


@given(st.floats(-20, 4), st.sampled_from([8000.0, 12_500.0]), st.sampled_from([30.0, 46.0]))
@settings(max_examples=4, deadline=None)
def test_each_recording_has_the_capacity_of_its_own_power(power_db, band_hz, ratio_db):
    # B log2(1 + SNR) with the signal changed by so many decibels; tolerance as above, of the fewest bits a hertz: 3.4.
    powers = (RECORD_POWER * 10 ** (power_db / 10),) * 2
    found = capacity(Channel((Slope(band_hz, ratio_db, ratio_db),)), Strength(powers, 1.0))
    bits_per_s = band_hz * np.log2(1 + 10 ** ((ratio_db + power_db) / 10))
    assert found.one_track_bits_per_s == pytest.approx(bits_per_s, rel=0.01 + TOOTH_HZ / 2 / band_hz)
    assert found.both_tracks_bits_per_s == pytest.approx(2 * bits_per_s, rel=0.01 + TOOTH_HZ / 2 / band_hz)


def test_a_silent_track_carries_nothing_and_a_silent_recording_has_no_bound():
    channel = registry.channel("hiss:level_db=-41")
    alone = capacity(channel, Strength((RECORD_POWER, 0.0), 1.0))
    assert alone.both_tracks_bits_per_s == alone.one_track_bits_per_s
    assert alone.one_track_bits_per_s == pytest.approx(capacity(channel).one_track_bits_per_s, rel=0.01)
    assert "nothing is recorded" in capacity(channel, Strength((0.0, 0.0), 0.0)).without


def test_level_control_is_met_at_the_level_of_the_recording():
    # The control brings a recording of -12 dB up to its target, so that it loses nothing of 12 dB to hiss behind it;
    # without control it loses log2(10^1.2) = 4 bits a hertz. One step of a decibel is 0.33 bit a hertz of 15.
    quiet = Strength((RECORD_POWER * 10**-1.2,) * 2, 10**-0.6)
    behind = "hiss:level_db=-46,place=tape"
    controlled, plain = (registry.channel(spec) for spec in (f"level_control:target_db=0/{behind}", behind))
    kept = capacity(controlled, quiet).one_track_bits_per_s / capacity(controlled).one_track_bits_per_s
    lost = capacity(plain, quiet).one_track_bits_per_s / capacity(plain).one_track_bits_per_s
    assert kept == pytest.approx(1.0, abs=0.04)
    assert lost == pytest.approx(1 - 4 / 15.3, abs=0.01)


def test_the_strength_of_a_recording_is_that_of_its_sound():
    # Two seconds of a sine of peak 0.5 on the left, half as high on the right, between silences: 1/8 and 1/32.
    sine = np.sin(2 * np.pi * 1000 * np.arange(80_000) / 40_000) / 2
    sine[0] = 1e-9
    found = Strength.of(Signal(np.pad(np.vstack([sine, sine / 2]), ((0, 0), (9000, 70_000))), 40_000))
    assert found.powers == pytest.approx((1 / 8, 1 / 32), rel=1e-4)
    assert found.peak == pytest.approx(0.5)
    assert found.sine_peak == pytest.approx(0.5)
    assert Strength((1.0, 1.0), 0.9).sine_peak == 0.9
    assert Strength((0.02, 0.08), 0.9).sine_peak == pytest.approx(0.4)


CODECS = (
    *("plain-biphase", "standard-300", "contents/repeat/fsk:baud_hz=1200", "contents/biphase:bit_rate_hz=4800"),
    *("contents/multicarrier", "dense-played"),
)


@settings(max_examples=12, deadline=None)
@given(st.sampled_from(CODECS), st.sampled_from([-40, -20, 0, 20]), st.sampled_from([1500, 9000]), st.integers(0, 99))
def test_nobody_exceeds_the_capacity_on_any_channel(name, hiss_db, high_hz, trial):
    # A load that came out right has brought its bytes through: the tape needs that much capacity.
    codec = registry.codec(name)
    channel = registry.channel(f"band:high_hz={high_hz}/hiss:level_db={hiss_db},place=replay")
    payload = np.random.default_rng(trial).bytes(24)
    tape = codec.encode(payload)
    heard = codec.decode(channel.degrade(tape, stream(7, trial, "channel")))
    if heard.payload == payload:
        bound = capacity(channel, Strength.of(tape))
        assert 8 * len(payload) / codec.duration_s(len(payload)) < bound.both_tracks_bits_per_s


@pytest.mark.parametrize("grade", ["new", "played", "worn", "attic", "portable-attic"])
def test_every_ready_format_stays_below_the_capacity_of_every_grade(grade):
    for name in registry.installed("codec").names():
        if "-" in name or name == "sturdy":
            codec = registry.codec(name)
            bound = capacity(registry.channel(grade), Strength.of(codec.encode(bytes(range(64)))))
            assert 8 * 65_536 / codec.duration_s(65_536) < bound.both_tracks_bits_per_s
