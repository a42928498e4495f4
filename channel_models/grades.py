"""The grades: three machines times four tapes, and the null channel.

Version 1 of one fixed table, so that results stay comparable and no code is helped by a kinder tape. The figures
marked D are minimum requirements of DIN 45500 for cassette recorders (as reported by secondary texts); all others are
common practice or a modelling prior without a published source: real decks and tapes differ, and a profile measured
on one replaces them. A grade draws each deck and each tape anew for every trial.

``ordinary-worn`` is a machine and a tape; a tape alone means the ordinary machine. Two parameters may be given with
the name: ``same_deck=true``, where the deck that recorded also replays, so that its speed error and its azimuth
cancel, and ``passes=N``, for a tape that has been played N more times since.

The band is that of the whole aligned chain. A gap beyond the machine's own, spacing beyond 0.25 um and the azimuth act
as differences from it, so that nothing is counted twice. A full-scale sine is recorded at the record level.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from ..contracts.preset import Preset
from ..contracts.spec import format_value

VERSION = 1
"""Goes up when a figure of the table changes."""

ALIGNED_SPACING_UM = 0.25
"""The band of the aligned chain includes this much; what a tape has beyond it acts as a difference."""

LEAST_LIFT_UM = 0.83
"""A dropout is a lift of at least this: 6 dB at 6.3 kHz."""

MISSING_DB = 30.0
"""Missing oxide costs more than 20 dB at all frequencies."""

SCRAPE_PERCENT = 0.02
"""Rms scrape flutter of any deck, beside its weighted wow and flutter."""


@dataclass(frozen=True)
class Machine:
    """A deck, and the other deck that made the recording.

    Attributes:
        speed_percent_limit: mean speed error of each deck, uniform.
        wow_and_flutter_percent: of each deck, weighted, 2-sigma; two decks add in power.
        azimuth_arcmin_sd, azimuth_wander_arcmin: difference of the decks; its wander peak to peak.
        signal_to_noise_db: of a new tape without hum, flat from 20 Hz to 20 kHz, re the 3 % level.
        separation_db: at 1 kHz.
        low_hz, high_hz: -3 dB points of the aligned chain with a new tape.
        high_limit_db: saturated output at 10 kHz re the 3 % level.
        hum_db: re the 3 % level.
        level_difference_db_sd: between the tracks.
        record_level_db: of full scale re the 3 % level.
        level_control: whether the recorder controls its level by itself.
        gap_um: of the replay head.
        inverted_chance: that the polarity comes back inverted.
    """

    speed_percent_limit: float
    wow_and_flutter_percent: float
    azimuth_arcmin_sd: float
    azimuth_wander_arcmin: float
    signal_to_noise_db: float
    separation_db: float
    low_hz: float
    high_hz: float
    high_limit_db: float
    hum_db: float
    level_difference_db_sd: float
    record_level_db: float
    level_control: bool
    gap_um: float
    inverted_chance: float


@dataclass(frozen=True)
class Tape:
    """A tape and its age; every figure is a modelling prior.

    Attributes:
        dropouts_per_minute: on the outer track.
        inner_share, both_share: the inner track's rate re the outer's; share of the inner's that hit both.
        length_ms, length_sigma: median between the half-depth points; sigma of the logarithm.
        lift_um, lift_sigma: median before the condition of ``LEAST_LIFT_UM`` or more; sigma of the logarithm.
        missing_share: share of dropouts where the oxide is missing.
        spacing_um: head to tape.
        fluctuation_um: rms change of it.
        output_lost_db, noise_added_db: against a new tape.
        modulation_noise_db: re the signal.
        print_through_db: each echo re its sound.
        residue_db: of an earlier recording, re the 3 % level.
        wow_and_flutter_factor: drag, hub and shell.
    """

    dropouts_per_minute: float
    inner_share: float
    both_share: float
    length_ms: float
    length_sigma: float
    lift_um: float
    lift_sigma: float
    missing_share: float
    spacing_um: float
    fluctuation_um: float
    output_lost_db: float
    noise_added_db: float
    modulation_noise_db: float
    print_through_db: float
    residue_db: float
    wow_and_flutter_factor: float


MACHINES = {
    "good": Machine(
        speed_percent_limit=0.5,
        wow_and_flutter_percent=0.06,
        azimuth_arcmin_sd=3.0,
        azimuth_wander_arcmin=1.0,
        signal_to_noise_db=52.0,
        separation_db=40.0,
        low_hz=30.0,
        high_hz=14_000.0,
        high_limit_db=-8.0,
        hum_db=-65.0,
        level_difference_db_sd=0.5,
        record_level_db=-4.0,
        level_control=False,
        gap_um=1.0,
        inverted_chance=0.5,
    ),
    "ordinary": Machine(
        speed_percent_limit=1.5,  # D
        wow_and_flutter_percent=0.14,  # D after replay: 0.2 for two decks
        azimuth_arcmin_sd=8.0,
        azimuth_wander_arcmin=2.0,
        signal_to_noise_db=46.0,  # D
        separation_db=30.0,
        low_hz=40.0,  # D
        high_hz=12_500.0,  # D
        high_limit_db=-11.0,
        hum_db=-60.0,
        level_difference_db_sd=1.0,
        record_level_db=-4.0,
        level_control=False,
        gap_um=1.5,
        inverted_chance=0.5,
    ),
    "portable": Machine(
        speed_percent_limit=3.0,
        wow_and_flutter_percent=0.25,
        azimuth_arcmin_sd=15.0,
        azimuth_wander_arcmin=4.0,
        signal_to_noise_db=40.0,
        separation_db=20.0,  # D
        low_hz=100.0,
        high_hz=8000.0,
        high_limit_db=-14.0,
        hum_db=-50.0,
        level_difference_db_sd=2.0,
        record_level_db=0.0,
        level_control=True,
        gap_um=2.5,
        inverted_chance=0.5,
    ),
}

TAPES = {
    "new": Tape(0.05, 0.4, 0.5, 8.0, 0.8, 1.0, 0.5, 0.02, 0.25, 0.03, 0.0, 0.0, -45.0, -55.0, -65.0, 1.0),
    "played": Tape(1.0, 0.4, 0.5, 10.0, 0.9, 1.2, 0.6, 0.03, 0.35, 0.05, 0.5, 1.0, -42.0, -52.0, -60.0, 1.1),
    "worn": Tape(6.0, 0.4, 0.5, 15.0, 1.0, 2.0, 0.7, 0.06, 0.7, 0.1, 2.0, 3.0, -38.0, -48.0, -50.0, 1.4),
    "attic": Tape(20.0, 0.6, 0.6, 25.0, 1.1, 4.0, 0.8, 0.15, 1.4, 0.2, 5.0, 5.0, -34.0, -45.0, -42.0, 2.0),
}
"""In the order of the attributes."""

Arguments = dict[str, bool | int | float | str]


def grade(machine: Machine, tape: Tape) -> str:
    """The channel that a machine and a tape make, as a spec."""
    stages: list[tuple[str, Arguments]] = [("level", {"gain_db": machine.record_level_db, "place": "record"})]
    if machine.level_control:
        stages.append(("level_control", {}))
    stages += [
        ("saturation", {"high_limit_db": machine.high_limit_db}),
        (
            "drift",
            {
                "speed_percent_limit": machine.speed_percent_limit,
                "decks": 2,
                "weighted_percent": math.sqrt(2) * machine.wow_and_flutter_percent * tape.wow_and_flutter_factor,
                "scrape_percent": SCRAPE_PERCENT,
            },
        ),
        ("level", {"gain_db": -tape.output_lost_db, "place": "tape"}),
        ("modulation_noise", {"level_db": tape.modulation_noise_db}),
        ("print_through", {"level_db": tape.print_through_db}),
        ("residue", {"level_db": tape.residue_db}),
        (
            "dropouts",
            {
                "per_minute": tape.dropouts_per_minute,
                "inner_share": tape.inner_share,
                "both_share": tape.both_share,
                "length_ms": tape.length_ms,
                "length_sigma": tape.length_sigma,
                "lift_um": tape.lift_um,
                "lift_sigma": tape.lift_sigma,
                "least_um": LEAST_LIFT_UM,
                "missing_share": tape.missing_share,
                "missing_db": MISSING_DB,
            },
        ),
        ("contact", {"fluctuation_um": tape.fluctuation_um}),
        (
            "head_losses",
            {
                "spacing_um": tape.spacing_um,
                "aligned_spacing_um": ALIGNED_SPACING_UM,
                "gap_um": machine.gap_um,
                "aligned_gap_um": machine.gap_um,
            },
        ),
        (
            "azimuth",
            {"azimuth_arcmin_sd": machine.azimuth_arcmin_sd, "wander_arcmin": machine.azimuth_wander_arcmin},
        ),
        ("crosstalk", {"separation_db": machine.separation_db}),
        (
            "replay_amp",
            {
                "low_hz": machine.low_hz,
                "high_hz": machine.high_hz,
                "difference_db_sd": machine.level_difference_db_sd,
                "inverted_chance": machine.inverted_chance,
            },
        ),
        ("hum", {"level_db": machine.hum_db}),
        ("hiss", {"level_db": tape.noise_added_db - machine.signal_to_noise_db, "place": "replay"}),
        ("clip", {"ceiling": 1.0}),
    ]
    return "/".join(_item(name, told) for name, told in stages)


def _item(name: str, told: Arguments) -> str:
    written = ",".join(f"{key}={_written(value)}" for key, value in told.items())
    return f"{name}:{written}" if written else name


def _written(value: bool | int | float | str) -> str:
    return format_value(float(f"{value:.4g}") + 0.0) if isinstance(value, float) else format_value(value)


SETTINGS = ("same_deck", "passes")


def _preset(machine: str, tape: str, name: str = "") -> Preset:
    decks = {"good": "good decks", "ordinary": "ordinary decks", "portable": "portable recorders"}[machine]
    tapes = {"new": "a new tape", "played": "a tape in use", "worn": "a worn tape", "attic": "a tape from the attic"}
    spec = grade(MACHINES[machine], TAPES[tape])
    return Preset(name or f"{machine}-{tape}", spec, f"{decks}, {tapes[tape]}", SETTINGS)


WIRE = Preset("wire", "", "the null channel: what is recorded is heard")

GOOD_NEW = _preset("good", "new")
GOOD_PLAYED = _preset("good", "played")
GOOD_WORN = _preset("good", "worn")
GOOD_ATTIC = _preset("good", "attic")
ORDINARY_NEW = _preset("ordinary", "new")
ORDINARY_PLAYED = _preset("ordinary", "played")
ORDINARY_WORN = _preset("ordinary", "worn")
ORDINARY_ATTIC = _preset("ordinary", "attic")
PORTABLE_NEW = _preset("portable", "new")
PORTABLE_PLAYED = _preset("portable", "played")
PORTABLE_WORN = _preset("portable", "worn")
PORTABLE_ATTIC = _preset("portable", "attic")

NEW = _preset("ordinary", "new", "new")
PLAYED = _preset("ordinary", "played", "played")
WORN = _preset("ordinary", "worn", "worn")
ATTIC = _preset("ordinary", "attic", "attic")
