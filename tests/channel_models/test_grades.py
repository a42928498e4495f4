"""The grades: one table, read back from the channels that it makes."""

import dataclasses
from itertools import pairwise

import numpy as np
import pytest
from tapewright.channel_models import grades
from tapewright.contracts import registry
from tapewright.contracts.errors import UsageError
from tapewright.contracts.signal import Signal
from tapewright.contracts.streams import stream

RATE_HZ = 44_100
NAMES = ("new", "played", "worn", "attic")


def stages(name):
    """The stages of a grade by name; a name that comes twice keeps both."""
    found = {}
    for stage in registry.channel(name).stages:
        found.setdefault(stage.name, []).append(stage)
    return found


def tone(hertz, seconds=3.0, peak=0.5):
    return Signal(peak * np.sin(2 * np.pi * hertz / RATE_HZ * np.arange(round(seconds * RATE_HZ))), RATE_HZ)


def gain_db(signal, hertz):
    row = signal.samples[0, 5000:-5000].astype(np.float64)
    turns = hertz / RATE_HZ * np.arange(row.size)
    return 20 * np.log10(abs(2 * (np.hanning(row.size) * row * np.exp(-2j * np.pi * turns)).sum()) / row.size * 2 / 0.5)


def test_wire_is_the_null_channel():
    sent = tone(1000.0)
    assert registry.channel("wire").stages == ()
    assert registry.channel("wire").degrade(sent, stream(1, 1, "channel")) == sent


@pytest.mark.parametrize("name", NAMES)
def test_grade_is_its_row_of_the_table(name):
    machine, tape = grades.MACHINES["ordinary"], grades.TAPES[name]
    found = stages(name)
    record, replay = found["level"]
    assert (record.place, record.gain_db) == ("record", -4.0)
    assert (replay.place, replay.inverted_chance, replay.difference_db_sd) == ("replay", 0.5, 1.0)
    assert replay.gain_db == -tape.output_lost_db
    (drift,), (dropouts,), (hiss,) = found["drift"], found["dropouts"], found["hiss"]
    assert (drift.speed_percent_limit, drift.decks) == (1.5, 2)
    assert dropouts.per_minute == tape.dropouts_per_minute
    assert (dropouts.length_ms, dropouts.length_sigma) == (tape.length_ms, tape.length_sigma)
    assert hiss.level_db == tape.noise_added_db - 46.0
    assert found["crosstalk"][0].separation_db == machine.separation_db


def test_grades_get_worse_with_age():
    rows = [dataclasses.astuple(grades.TAPES[name]) for name in NAMES]
    for younger, older in pairwise(rows):
        assert all(a <= b for a, b in zip(younger, older, strict=True))
        assert younger != older


def test_worked_values_of_the_losses():
    # Spacing loss table (Wallace's formula, 47.6 mm/s): 0.5 um 3.612 dB at 6.3 kHz, 5 um 57.327 dB at 10 kHz;
    # 15 arcmin over 0.9 mm is 82.5 us, 60 arcmin 330.033 us (geometry).
    assert grades.spacing_loss_db(0.5, 6300.0) == pytest.approx(3.612, abs=5e-4)
    assert grades.spacing_loss_db(5.0, 10_000.0) == pytest.approx(57.327, abs=5e-4)
    assert grades.skew_us(15.0) == pytest.approx(82.5, abs=0.01)
    assert grades.skew_us(60.0) == pytest.approx(330.033, abs=0.01)
    assert float(grades.weighting(4.0)) == pytest.approx(1.0)
    assert float(grades.weighting(0.8)) == pytest.approx(0.50119, abs=1e-4)


@pytest.mark.parametrize("name", ["played", "worn", "attic"])
def test_spacing_of_a_worn_tape_is_nearly_that_of_the_formula(name):
    # 54.575 dB per wavelength of lift; the slope agrees at 6.3 kHz but for the bilinear transform (at 44.1 kHz).
    model = stages(name)["band"][1]
    lift_um = grades.TAPES[name].spacing_um - grades.ALIGNED_SPACING_UM
    for hertz, within in ((315.0, 1.0), (1200.0, 1.0), (2400.0, 1.0), (4000.0, 1.0), (6300.0, 0.5), (10_000.0, 2.0)):
        heard = model.degrade(tone(hertz, 1.0), np.random.default_rng(0))
        assert gain_db(heard, hertz) == pytest.approx(-grades.spacing_loss_db(lift_um, hertz), abs=within)


@pytest.mark.parametrize("name", NAMES)
def test_weighted_wow_and_flutter_is_that_of_the_table(name):
    # Two decks of 0.14 % add in power to 0.198 %, times the tape's factor. Read as the value exceeded for 5 % of the
    # time (IEC 60386 / AES6-2008) of the weighted deviation, over 20 tapes of 30 s. Wow, flutter and noise are no
    # Gaussian together: 1.96 rms is right to 4 % for this mixture; the drawn noise adds an s.e. of 1 %.
    model = stages(name)["drift"][0]
    readings = []
    for seed in range(20):
        motion = model.motion(30 * 8000, 8000, np.random.default_rng(seed))
        deviation = 100 * (motion.slopes - motion.slopes.mean())
        hz = np.fft.rfftfreq(deviation.size, motion.knot_frames / 8000)
        weights = np.where(hz > 0, grades.weighting(np.maximum(hz, 0.05)), 0.0)
        weighted = np.fft.irfft(np.fft.rfft(deviation) * weights, deviation.size)
        readings.append(np.quantile(np.abs(weighted), 0.95))
    asked = np.sqrt(2) * 0.14 * grades.TAPES[name].wow_and_flutter_factor
    assert np.mean(readings) == pytest.approx(asked, rel=0.07)


def test_noise_and_level_of_new_tape_are_46_db_apart():
    # S/N of DIN 45500, unweighted: 46 dB below the 3 % level. Null: that; 20 s of silence, s.e. 0.005 dB a track.
    silence = Signal(np.zeros((2, 20 * RATE_HZ)), RATE_HZ)
    heard = registry.channel("new").degrade(silence, stream(3, 1, "channel")).samples.astype(np.float64)
    spectrum = np.abs(np.fft.rfft(heard)) ** 2
    hz = np.fft.rfftfreq(heard.shape[1], 1 / RATE_HZ)
    power = 2 * spectrum[:, (hz >= 20) & (hz <= 20_000)].sum(axis=1) / heard.shape[1] ** 2
    assert np.abs(10 * np.log10(power / 0.5) + 46.0).max() < 0.05


def test_speed_of_two_ordinary_decks_stays_within_three_percent():
    model = stages("worn")["drift"][0]
    speeds = [model.motion(8000, 8000, np.random.default_rng(seed)).slopes.mean() for seed in range(300)]
    assert 0.02 < max(np.abs(np.array(speeds) - 1)) < 0.034


@pytest.mark.parametrize("name", NAMES)
def test_grade_gives_the_same_tape_again_and_stays_within_full_scale(name):
    channel = registry.channel(name)
    once, again = (channel.degrade(tone(1200.0, 2.0, 1.0), stream(5, 2, "channel")) for _ in range(2))
    assert once == again
    assert np.abs(once.samples).max() <= 1.0
    assert once != channel.degrade(tone(1200.0, 2.0, 1.0), stream(5, 3, "channel"))


def test_stages_out_of_the_order_of_the_physics_are_refused():
    message = r"channel: '\w+' \(\w+\) cannot follow '\w+' \(\w+\): the order is record, tape, replay, capture"
    for spec in ("clip/hiss", "skew/drift", "band/level:place=record", "hiss:place=replay/dropouts"):
        with pytest.raises(UsageError, match=message):
            registry.channel(spec)
    in_order = "level:place=record/drift/hiss/dropouts/band/band/skew/level/hiss:place=replay/clip"
    assert len(registry.channel(in_order).stages) == 10
