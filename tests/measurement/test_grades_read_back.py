"""The grades, read back through the whole measurement: each figure of the table that a capture can show."""

from __future__ import annotations

import math

import numpy as np
import pytest
from deck_rate import LOW_RATE_HZ
from tapewright.channel_models.grades import MACHINES, TAPES, Machine, Tape
from tapewright.channel_models.tape_loss import skew_us
from tapewright.contracts import registry
from tapewright.contracts.signal import Signal
from tapewright.contracts.streams import stream
from tapewright.measurement.measuring import measure
from tapewright.measurement.profile import Profile

EVERY = tuple(f"{machine}-{tape}" for machine in MACHINES for tape in TAPES)


def value(profile: Profile, name: str) -> float:
    """The figure, or the mean of both tracks where there are two."""
    names = [name] if "{}" not in name else [name.format(track) for track in ("left", "right")]
    found = [figure.value for one in names if (figure := profile.figure(one)) is not None]
    assert found, (name, [one for one in profile.missing if one.name in names])
    return float(np.mean(found))


def near(profile: Profile, name: str, true: float, margin: float) -> bool:
    """Whether every track that has the figure is within ``margin``, or four times as far as its own interval goes: a
    tape full of dropouts, or a recorder that turns its level, says by the interval how little it shows.
    """
    names = [name] if "{}" not in name else [name.format(track) for track in ("left", "right")]
    found = [figure for one in names if (figure := profile.figure(one)) is not None]
    assert found or {one.name for one in profile.missing} >= set(names), name
    return all(abs(one.value - true) <= max(margin, 2 * (one.high - one.low)) for one in found)


def power_db(*levels_db: float) -> float:
    return 10 * math.log10(sum(10 ** (level / 10) for level in levels_db))


def check(profile: Profile, machine: Machine, tape: Tape) -> None:
    """Every figure of the row within what one capture of four minutes leaves to chance, five standard errors or so."""
    assert abs(value(profile, "speed_error_percent")) <= 2.01 * machine.speed_percent_limit + 0.02
    read = math.sqrt(2) * machine.wow_and_flutter_percent * tape.wow_and_flutter_factor
    assert value(profile, "flutter_weighted_percent") == pytest.approx(read, rel=0.15)
    assert abs(value(profile, "azimuth_error_arcmin")) <= 2.5 * machine.azimuth_arcmin_sd + 0.1
    assert value(profile, "skew_wander_us") == pytest.approx(skew_us(machine.azimuth_wander_arcmin), rel=0.05, abs=0.1)
    ways = [f"separation_{way}_db" for way in ("left_to_right", "right_to_left")]
    reasons = [one.reason for one in profile.missing if one.name in ways]
    if reasons:
        # 66 dB below full scale, the neighbour's tone is lost in the noise of worn tapes.
        assert machine.separation_db >= 40
        assert all("above the noise" in reason for reason in reasons)
    else:
        # A difference of the tracks' levels adds to one way and takes from the other.
        assert np.mean([value(profile, way) for way in ways]) == pytest.approx(machine.separation_db, abs=1.5)
    assert near(profile, "modulation_noise_{}_db", tape.modulation_noise_db, 1.0)
    assert near(profile, "contact_fluctuation_um", tape.fluctuation_um, max(0.2 * tape.fluctuation_um, 0.005))
    echo_names = [f"print_through_{track}_db" for track in ("left", "right")]
    for name in echo_names:
        figure = profile.figure(name)
        if figure is not None:
            assert figure.low - 3 <= tape.print_through_db <= figure.high + 3
        else:
            (reason,) = [one.reason for one in profile.missing if one.name == name]
            assert tape.print_through_db <= float(reason.split()[-2]) + 2
    minutes = 2.0
    rates = (tape.dropouts_per_minute, tape.inner_share * tape.dropouts_per_minute)
    for track, rate in zip(("left", "right"), rates, strict=True):
        # A Poisson count: within five of its standard deviations; long ones run into each other where they are many.
        count = minutes * value(profile, f"dropouts_{track}_per_minute")
        assert abs(count - minutes * rate) <= 5 * math.sqrt(minutes * rate) + 2
    if machine.level_control:
        return  # the recorder sets the level anew all the time, and full scale clips: no level means anything
    assert abs(value(profile, "level_difference_db")) <= 2.5 * machine.level_difference_db_sd + 0.1
    assert near(profile, "three_percent_level_{}_db", -machine.record_level_db, 0.5)
    assert near(profile, "limit_at_10_khz_re_3_percent_level_{}_db", machine.high_limit_db, 1.5)
    full_db = machine.record_level_db - tape.output_lost_db
    noise_db = power_db(tape.noise_added_db - machine.signal_to_noise_db, tape.residue_db)
    ends_at_db = 10 * math.log10((LOW_RATE_HZ / 2 - 20) / (20_000 - 20))
    assert value(profile, "signal_to_noise_{}_db") == pytest.approx(full_db - noise_db - ends_at_db, abs=1.5)
    hum = [profile.figure(f"hum_{track}_db") for track in ("left", "right")]
    for one in (figure for figure in hum if figure is not None):
        assert one.value == pytest.approx(machine.hum_db - full_db, abs=2.0)


def measured(name: str, recording: Signal, trial: int) -> Profile:
    return measure(registry.channel(name).degrade(recording, stream(12, trial, "channel"))).profile


@pytest.mark.parametrize("name", ["good-new", "ordinary-worn"])
def test_a_grade_is_read_back(name: str, recording: Signal) -> None:
    # Null: the table's row; seed 12, one tape; every margin is five standard errors or more: false alarm below 1e-5.
    machine, tape = name.split("-")
    check(measured(name, recording, 0), MACHINES[machine], TAPES[tape])


@pytest.mark.acceptance
@pytest.mark.parametrize("name", EVERY)
def test_every_grade_is_read_back(name: str, recording: Signal) -> None:
    """Null: the table's row; seed 12, three tapes a grade; margins as above."""
    machine, tape = name.split("-")
    for trial in range(1, 4):
        check(measured(name, recording, trial), MACHINES[machine], TAPES[tape])
