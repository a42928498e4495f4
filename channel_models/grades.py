"""The grades: an ordinary deck with four tapes, from new to attic, and the null channel.

The figures are one fixed table, so that results stay comparable. Those marked D are minimum requirements of
DIN 45500 for cassette recorders (as reported by secondary texts); all others are common practice or a modelling
prior without a published source: real decks and tapes differ, and a profile measured on one replaces them.

Where these models fall short of the tape they stand for:

- nothing saturates: a tone of 10 kHz comes back as strong as one of 315 Hz, and there is no distortion;
- no automatic level control, modulation noise, print-through, residue of an earlier recording, or hum;
- a dropout takes off the same at all frequencies, what its lift would take off at 3,150 Hz: higher tones get off too
  lightly, lower ones suffer too much;
- the spacing of a worn tape is a first-order slope that agrees with it at 6.3 kHz (within 1 dB below, 2 dB at 10 kHz);
- head contact does not fluctuate, the azimuth error costs no treble, crosstalk is equal at all frequencies;
- wow is one wandering sine and flutter another, whatever part of the deck they come from.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..contracts.preset import Preset
from ..contracts.spec import format_value

TAPE_SPEED_MM_PER_S = 47.6
"""4.76 cm/s: IEC 60094-1, as reported by a secondary text."""

SPACING_DB_PER_WAVELENGTH = 54.575
"""20 log10(e) 2 pi: R. L. Wallace, BSTJ 30 (1951), from memory; the constant is exact arithmetic."""

TRACK_SPACING_MM = 0.9
"""Between the centres of left and right: 0.6 mm tracks, 0.3 mm apart."""

ALIGNED_SPACING_UM = 0.25
"""The band of the aligned chain includes this much; what a tape has beyond it acts as a difference."""

SPACING_AT_HZ = 6300.0
"""Where the first-order slope costs what the spacing costs."""

LEAST_LIFT_UM = 0.83
"""A dropout is a lift of at least this: 6 dB at 6.3 kHz."""

DEPTH_AT_HZ = 3150.0
"""Where the depth that stands for all frequencies is what the lift costs: among the tones that formats use."""

MISSING_DB = 30.0
"""Missing oxide costs more than 20 dB at all frequencies (modelling prior)."""

WOW_HZ, WOW_SHARE = 1.3, 0.25
"""Pinch roller (12 mm, 20 % of the weighted power) and reels (5 %), taken together."""

FLUTTER_HZ, FLUTTER_SHARE = 6.9, 0.45
"""Capstan of 2.2 mm: v / (pi D)."""

NOISE_SHARE = 0.30
"""Smooth noise from 0.5 to 40 Hz."""

TWO_SIGMA = 1.96
"""The 2-sigma reading of a sum of several components, re their rms: a Gaussian's 95 % (a lone sine has 1.41)."""

WEIGHTING_HZ = (0.1, 0.2, 0.315, 0.4, 0.63, 0.8, 1.0, 1.6, 2.0, 4.0, 6.3, 10.0, 20.0, 40.0, 63.0, 100.0, 200.0)
WEIGHTING_DB = (
    *(-48.0, -30.6, -19.7, -15.0, -8.4, -6.0, -4.2, -1.8, -0.9),
    *(0.0, -0.9, -2.1, -5.9, -10.4, -14.2, -17.3, -23.0),
)
"""Wow and flutter weighting of IEC 60386 / AES6-2008, from a public implementation that quotes the table."""


@dataclass(frozen=True)
class Machine:
    """A deck, and the other deck that made the recording.

    Attributes:
        speed_percent_limit: mean speed error of each deck, uniform.
        wow_and_flutter_percent: of each deck, weighted, 2-sigma; two decks add in power.
        azimuth_arcmin_sd, azimuth_wander_arcmin: difference of the decks; its wander peak to peak.
        signal_to_noise_db: of a new tape, 20 Hz to 20 kHz, re the 3 % level.
        separation_db: at 1 kHz.
        low_hz, high_hz: -3 dB points of the aligned chain with a new tape.
        level_difference_db_sd: between the tracks.
        record_level_db: of full scale re the 3 % level.
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
    level_difference_db_sd: float
    record_level_db: float
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
        output_lost_db, noise_added_db: against a new tape.
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
    output_lost_db: float
    noise_added_db: float
    wow_and_flutter_factor: float


MACHINES = {
    "ordinary": Machine(
        speed_percent_limit=1.5,  # D
        wow_and_flutter_percent=0.14,  # D after replay: 0.2 for two decks
        azimuth_arcmin_sd=8.0,
        azimuth_wander_arcmin=2.0,
        signal_to_noise_db=46.0,  # D
        separation_db=30.0,
        low_hz=40.0,  # D
        high_hz=12_500.0,  # D
        level_difference_db_sd=1.0,
        record_level_db=-4.0,
        inverted_chance=0.5,
    ),
}

TAPES = {
    "new": Tape(0.05, 0.4, 0.5, 8.0, 0.8, 1.0, 0.5, 0.02, 0.25, 0.0, 0.0, 1.0),
    "played": Tape(1.0, 0.4, 0.5, 10.0, 0.9, 1.2, 0.6, 0.03, 0.35, 0.5, 1.0, 1.1),
    "worn": Tape(6.0, 0.4, 0.5, 15.0, 1.0, 2.0, 0.7, 0.06, 0.7, 2.0, 3.0, 1.4),
    "attic": Tape(20.0, 0.6, 0.6, 25.0, 1.1, 4.0, 0.8, 0.15, 1.4, 5.0, 5.0, 2.0),
}


def spacing_loss_db(lift_um: float, frequency_hz: float) -> float:
    """What a gap between head and tape takes off a tone.

    >>> round(spacing_loss_db(1.0, 10_000.0), 2)
    11.47
    """
    return SPACING_DB_PER_WAVELENGTH * lift_um * frequency_hz / (1000 * TAPE_SPEED_MM_PER_S)


def weighting(frequency_hz: ArrayLike) -> NDArray[np.float64]:
    """Wow and flutter weighting as an amplitude factor, interpolated in dB over the logarithm of frequency."""
    return np.asarray(10 ** (np.interp(np.log(frequency_hz), np.log(WEIGHTING_HZ), WEIGHTING_DB) / 20))


def skew_us(arcmin: float) -> float:
    """Time between the tracks for an azimuth error.

    >>> round(skew_us(15.0), 1)
    82.5
    """
    return TRACK_SPACING_MM * math.tan(math.radians(arcmin / 60)) / TAPE_SPEED_MM_PER_S * 1e6


def grade(machine: Machine, tape: Tape) -> str:
    """The channel that a machine and a tape make, as a spec."""
    stages: list[tuple[str, dict[str, float | str]]] = [
        ("level", {"gain_db": machine.record_level_db, "place": "record"}),
        ("drift", _drift(machine, tape)),
        ("dropouts", _dropouts(tape)),
        ("band", {"low_hz": machine.low_hz, "high_hz": machine.high_hz, "order": 2}),
    ]
    extra_um = tape.spacing_um - ALIGNED_SPACING_UM
    if extra_um > 0:
        loss = 10 ** (spacing_loss_db(extra_um, SPACING_AT_HZ) / 10)
        stages.append(("band", {"low_hz": 0.0, "high_hz": SPACING_AT_HZ / math.sqrt(loss - 1), "order": 1}))
    stages += [
        (
            "skew",
            {"skew_us_sd": skew_us(machine.azimuth_arcmin_sd), "wander_us": skew_us(machine.azimuth_wander_arcmin)},
        ),
        ("crosstalk", {"separation_db": machine.separation_db}),
        (
            "level",
            {
                "gain_db": -tape.output_lost_db,
                "difference_db_sd": machine.level_difference_db_sd,
                "inverted_chance": machine.inverted_chance,
            },
        ),
        ("hiss", {"level_db": tape.noise_added_db - machine.signal_to_noise_db, "place": "replay"}),
        ("clip", {"ceiling": 1.0}),
    ]
    items = [(name, ",".join(f"{key}={_written(value)}" for key, value in told.items())) for name, told in stages]
    return "/".join(f"{name}:{told}" for name, told in items)


def _drift(machine: Machine, tape: Tape) -> dict[str, float | str]:
    rms = math.sqrt(2) * machine.wow_and_flutter_percent * tape.wow_and_flutter_factor / TWO_SIGMA
    noise_hz = np.linspace(0.5, 40.0, 2000)
    noise_weight = math.sqrt(float(np.mean(weighting(noise_hz) ** 2)))
    return {
        "speed_percent_limit": machine.speed_percent_limit,
        "decks": 2,
        "wow_percent": rms * math.sqrt(2 * WOW_SHARE) / float(weighting(WOW_HZ)),
        "wow_hz": WOW_HZ,
        "flutter_percent": rms * math.sqrt(2 * FLUTTER_SHARE) / float(weighting(FLUTTER_HZ)),
        "flutter_hz": FLUTTER_HZ,
        "noise_percent": rms * math.sqrt(NOISE_SHARE) / noise_weight,
    }


def _dropouts(tape: Tape) -> dict[str, float | str]:
    return {
        "per_minute": tape.dropouts_per_minute,
        "inner_share": tape.inner_share,
        "both_share": tape.both_share,
        "length_ms": tape.length_ms,
        "length_sigma": tape.length_sigma,
        "depth_db": spacing_loss_db(tape.lift_um, DEPTH_AT_HZ),
        "depth_sigma": tape.lift_sigma,
        "least_db": spacing_loss_db(LEAST_LIFT_UM, DEPTH_AT_HZ),
        "missing_share": tape.missing_share,
        "missing_db": MISSING_DB,
    }


def _written(value: float | str) -> str:
    return value if isinstance(value, str) else format_value(float(f"{value:.4g}") + 0.0)


def _preset(machine: str, tape: str, summary: str) -> Preset:
    return Preset(tape, grade(MACHINES[machine], TAPES[tape]), summary)


WIRE = Preset("wire", "", "the null channel: what is recorded is heard")
NEW = _preset("ordinary", "new", "ordinary decks, a new tape")
PLAYED = _preset("ordinary", "played", "ordinary decks, a tape in use")
WORN = _preset("ordinary", "worn", "ordinary decks, a worn tape")
ATTIC = _preset("ordinary", "attic", "ordinary decks, a tape from the attic")
