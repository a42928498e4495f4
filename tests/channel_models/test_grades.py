"""The grades: one table, read back from the channels that it makes."""

import dataclasses
from itertools import pairwise

import numpy as np
import pytest
from tapewright.channel_models import grades
from tapewright.contracts import registry
from tapewright.contracts.channel_model import Channel
from tapewright.contracts.conformance.channel_model import longer_tape_starts_the_same
from tapewright.contracts.errors import UsageError
from tapewright.contracts.signal import Signal
from tapewright.contracts.streams import stream

RATE_HZ = 44_100
MACHINES = ("good", "ordinary", "portable")
TAPES = ("new", "played", "worn", "attic")
NAMES = tuple(f"{machine}-{tape}" for machine in MACHINES for tape in TAPES)


WEIGHTS = np.array(
    [  # Hz and dB: IEC 60386 / AES6-2008, as a public implementation quotes the table
        *((0.1, -48.0), (0.2, -30.6), (0.315, -19.7), (0.4, -15.0), (0.63, -8.4), (0.8, -6.0), (1.0, -4.2)),
        *((1.6, -1.8), (2.0, -0.9), (4.0, 0.0), (6.3, -0.9), (10.0, -2.1), (20.0, -5.9), (40.0, -10.4)),
        *((63.0, -14.2), (100.0, -17.3), (200.0, -23.0)),
    ]
)


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
    machine_name, tape_name = name.split("-")
    machine, tape = grades.MACHINES[machine_name], grades.TAPES[tape_name]
    found = stages(name)
    record, worn = found["level"]
    assert (record.place, record.gain_db) == ("record", machine.record_level_db)
    assert (worn.place, worn.gain_db) == ("tape", -tape.output_lost_db)
    assert ("level_control" in found) == machine.level_control == (machine_name == "portable")
    one = {stage: members[0] for stage, members in found.items()}
    assert one["saturation"].high_limit_db == machine.high_limit_db
    assert (one["drift"].speed_percent_limit, one["drift"].decks) == (machine.speed_percent_limit, 2)
    read = np.sqrt(2) * machine.wow_and_flutter_percent * tape.wow_and_flutter_factor
    assert one["drift"].weighted_percent == pytest.approx(read, rel=1e-3)
    assert one["drift"].scrape_percent == 0.02
    assert one["modulation_noise"].level_db == tape.modulation_noise_db
    assert one["print_through"].level_db == tape.print_through_db
    assert one["residue"].level_db == tape.residue_db
    assert one["dropouts"].per_minute == tape.dropouts_per_minute
    assert (one["dropouts"].inner_share, one["dropouts"].both_share) == (tape.inner_share, tape.both_share)
    assert (one["dropouts"].length_ms, one["dropouts"].length_sigma) == (tape.length_ms, tape.length_sigma)
    assert (one["dropouts"].lift_um, one["dropouts"].lift_sigma) == (tape.lift_um, tape.lift_sigma)
    assert (one["dropouts"].least_um, one["dropouts"].missing_share) == (0.83, tape.missing_share)
    assert one["dropouts"].missing_db > 20
    assert one["contact"].fluctuation_um == tape.fluctuation_um
    assert (one["head_losses"].spacing_um, one["head_losses"].aligned_spacing_um) == (tape.spacing_um, 0.25)
    assert one["head_losses"].gap_um == one["head_losses"].aligned_gap_um == machine.gap_um
    assert one["azimuth"].azimuth_arcmin_sd == machine.azimuth_arcmin_sd
    assert one["azimuth"].wander_arcmin == machine.azimuth_wander_arcmin
    assert one["crosstalk"].separation_db == machine.separation_db
    assert (one["replay_amp"].low_hz, one["replay_amp"].high_hz) == (machine.low_hz, machine.high_hz)
    assert one["replay_amp"].difference_db_sd == machine.level_difference_db_sd
    assert one["replay_amp"].inverted_chance == 0.5
    assert one["hum"].level_db == machine.hum_db
    assert (one["hiss"].level_db, one["hiss"].place) == (tape.noise_added_db - machine.signal_to_noise_db, "replay")
    assert one["clip"].ceiling == 1.0


@pytest.mark.parametrize(
    ("machine", "row"),
    [  # version 1 of the table, column by column
        ("good", (0.5, 0.06, 3, 1, 52, 40, 30, 14_000, -8, -65, 0.5, -4, False, 1.0, 0.5)),
        ("ordinary", (1.5, 0.14, 8, 2, 46, 30, 40, 12_500, -11, -60, 1, -4, False, 1.5, 0.5)),
        ("portable", (3, 0.25, 15, 4, 40, 20, 100, 8000, -14, -50, 2, 0, True, 2.5, 0.5)),
    ],
)
def test_machines_are_those_of_version_1(machine, row):
    assert grades.VERSION == 1
    assert dataclasses.astuple(grades.MACHINES[machine]) == row


@pytest.mark.parametrize(
    ("tape", "row"),
    [
        ("new", (0.05, 0.4, 0.5, 8, 0.8, 1.0, 0.5, 0.02, 0.25, 0.03, 0, 0, -45, -55, -65, 1)),
        ("played", (1, 0.4, 0.5, 10, 0.9, 1.2, 0.6, 0.03, 0.35, 0.05, 0.5, 1, -42, -52, -60, 1.1)),
        ("worn", (6, 0.4, 0.5, 15, 1.0, 2, 0.7, 0.06, 0.7, 0.1, 2, 3, -38, -48, -50, 1.4)),
        ("attic", (20, 0.6, 0.6, 25, 1.1, 4, 0.8, 0.15, 1.4, 0.2, 5, 5, -34, -45, -42, 2)),
    ],
)
def test_tapes_are_those_of_version_1(tape, row):
    assert dataclasses.astuple(grades.TAPES[tape]) == row


@pytest.mark.parametrize("tape", TAPES)
def test_a_tape_alone_means_the_ordinary_machine(tape):
    assert registry.channel(tape) == registry.channel(f"ordinary-{tape}")


@pytest.mark.parametrize("name", NAMES)
def test_settings_reach_every_stage_concerned(name):
    found = {stage.name: stage for stage in registry.channel(f"{name}:same_deck=true,passes=40").stages}
    assert found["drift"].same_deck
    assert found["azimuth"].same_deck
    assert found["dropouts"].passes == found["head_losses"].passes == found["level"].passes == 40
    assert not registry.channel(name).stages[2].arguments().get("same_deck", False)
    with pytest.raises(UsageError, match="is a preset and takes only same_deck, passes"):
        registry.channel(f"{name}:azimuth_arcmin=3")


def test_grades_get_worse_with_age():
    rows = [dataclasses.astuple(grades.TAPES[name]) for name in TAPES]
    for younger, older in pairwise(rows):
        assert all(a <= b for a, b in zip(younger, older, strict=True))
        assert younger != older


@pytest.mark.parametrize("name", NAMES)
def test_weighted_wow_and_flutter_is_that_of_the_table(name):
    # Two decks add in power, times the tape's factor. Read as the value exceeded for 5 % of the time (IEC 60386 /
    # AES6-2008) of the weighted deviation, over 8 tapes of 60 s, the table's weights interpolated anew. A tape's
    # reading has an s.e. of some 2 % (30 % of the power is noise of some 1,200 degrees of freedom, the phases of the
    # sines wander): 8 tapes 0.7 %; the reading of the shrinking packs drifts by up to 1 %: 4 % in all.
    machine_name, tape_name = name.split("-")
    model = stages(name)["drift"][0]
    readings = []
    for seed in range(8):
        motion = model.motion(60 * 8000, 8000, np.random.default_rng(seed))
        deviation = 100 * (motion.slopes - motion.slopes.mean())
        hz = np.fft.rfftfreq(deviation.size, motion.knot_frames / 8000)
        weights = 10 ** (np.interp(np.log(np.maximum(hz, 0.05)), np.log(WEIGHTS[:, 0]), WEIGHTS[:, 1]) / 20)
        weighted = np.fft.irfft(np.fft.rfft(deviation) * weights * (hz > 0.15), deviation.size)
        readings.append(np.quantile(np.abs(weighted), 0.95))
    machine, tape = grades.MACHINES[machine_name], grades.TAPES[tape_name]
    asked = np.sqrt(2) * machine.wow_and_flutter_percent * tape.wow_and_flutter_factor
    assert np.mean(readings) == pytest.approx(asked, rel=0.04)


@pytest.mark.parametrize("machine", MACHINES)
def test_noise_of_new_tape_is_as_far_below_the_level_as_the_table_says(machine):
    # S/N without hum, unweighted, 20 Hz to 20 kHz (46 dB: DIN 45500). Null: that; 20 s of silence, s.e. 0.006 dB a
    # track; an earlier recording 65 dB down adds 0.05 dB at most to a noise of -52 dB.
    silence = Signal(np.zeros((2, 20 * RATE_HZ)), RATE_HZ)
    channel = registry.channel(f"{machine}-new")
    without_hum = Channel(tuple(stage for stage in channel.stages if stage.name != "hum"))
    heard = without_hum.degrade(silence, stream(3, 1, "channel")).samples.astype(np.float64)
    spectrum = np.abs(np.fft.rfft(heard)) ** 2
    hz = np.fft.rfftfreq(heard.shape[1], 1 / RATE_HZ)
    power = 2 * spectrum[:, (hz >= 20) & (hz <= 20_000)].sum(axis=1) / heard.shape[1] ** 2
    assert np.abs(10 * np.log10(power / 0.5) + grades.MACHINES[machine].signal_to_noise_db).max() < 0.25


def test_speed_of_two_ordinary_decks_stays_within_three_percent():
    model = stages("ordinary-worn")["drift"][0]
    speeds = [model.motion(8000, 8000, np.random.default_rng(seed)).slopes.mean() for seed in range(300)]
    assert 0.02 < max(np.abs(np.array(speeds) - 1)) < 0.034


@pytest.mark.parametrize("name", NAMES)
def test_grade_gives_the_same_tape_again_and_stays_within_full_scale(name):
    channel = registry.channel(name)
    once, again = (channel.degrade(tone(1200.0, 2.0, 1.0), stream(5, 2, "channel")) for _ in range(2))
    assert once == again
    assert np.abs(once.samples).max() <= 1.0
    assert once != channel.degrade(tone(1200.0, 2.0, 1.0), stream(5, 3, "channel"))


@pytest.mark.parametrize("name", NAMES)
def test_grade_takes_the_lowest_sample_rates(name):
    # Down there is no room for most of the points of its filters.
    for rate_hz in (1000, 3001):
        sent = Signal(0.5 * np.sin(2 * np.pi * 300 / rate_hz * np.arange(rate_hz)), rate_hz)
        heard = registry.channel(name).degrade(sent, stream(1, 0, "channel"))
        assert heard.samples.std() > 0.05


@pytest.mark.parametrize("name", ["good-new", "ordinary-worn", "portable-attic"])
def test_longer_tape_starts_the_same_but_for_its_echoes(name):
    # An echo is heard a turn of the pack before its sound; everything else about a tape is as it was up to where the
    # shorter one ends.
    stages_left = tuple(stage for stage in registry.channel(name).stages if stage.name != "print_through")
    longer_tape_starts_the_same(Channel(stages_left))


def test_plays_wear_a_grade_monotonously():
    # More plays: more dropouts, less output, less treble, each by its own law; the same seed, one tone each.
    heard = []
    for passes in (0, 50, 200, 1000):
        channel = registry.channel(f"ordinary-played:passes={passes}")
        worn = Channel(tuple(stage for stage in channel.stages if stage.name in ("level", "head_losses")))
        kept = [gain_db(worn.degrade(tone(hertz, 1.0), np.random.default_rng(0)), hertz) for hertz in (1000, 6300)]
        (dropouts,) = [stage for stage in channel.stages if stage.name == "dropouts"]
        heard.append((*kept, -len(dropouts.events(600.0, np.random.default_rng(0)))))
    for figure in zip(*heard, strict=True):
        assert all(sooner > later for sooner, later in pairwise(figure))


def test_stages_out_of_the_order_of_the_physics_are_refused():
    message = r"channel: '\w+' \(\w+\) cannot follow '\w+' \(\w+\): the order is record, tape, replay, capture"
    for spec in ("clip/hiss", "skew/drift", "band/level:place=record", "hiss:place=replay/dropouts"):
        with pytest.raises(UsageError, match=message):
            registry.channel(spec)
    in_order = "level:place=record/drift/hiss/dropouts/band/band/skew/level/hiss:place=replay/clip"
    assert len(registry.channel(in_order).stages) == 10
