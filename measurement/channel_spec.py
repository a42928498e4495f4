"""The channel that a profile's figures make, as a spec."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from ..contracts.spec import format_value
from .figures import Curve, Figure
from .fitted_band import LOW_ORDER, fitted_band
from .mechanics import FlutterLine
from .skew import TAPE_SPEED_MM_PER_S, azimuth_arcmin

_TURNING = (("capstan", "capstan_mm", 1.0, 10.0), ("pinch roller", "roller_mm", 5.0, 40.0))
"""Causes of flutter lines, and the diameters of the channel that they give."""

_TRACKS = ("left", "right", "mono")

Stage = tuple[str, dict[str, float | str]]


def channel_spec(
    figures: Sequence[Figure], curves: Sequence[Curve], lines: Sequence[FlutterLine], *, inverted: bool
) -> str:
    """The stages that the figures give, in the order of the physics; ``wire`` if they give none.

    A figure of two tracks goes in as their mean. What was not measured has no stage, so that nothing is invented.
    Levels refer to the 3 % level where that was measured, else to full scale of the recording.
    """
    told = {one.name: one.value for one in figures}
    stages = list(_stages(told, {one.name: one for one in curves}, lines, inverted))
    return "/".join(_written(name, arguments) for name, arguments in stages) or "wire"


def _stages(
    told: dict[str, float], curves: dict[str, Curve], lines: Sequence[FlutterLine], inverted: bool
) -> Iterator[Stage]:
    full_level_db = _both(told, "three_percent_level_{}_db")
    record_db = 0.0 if full_level_db is None else -full_level_db
    limit_db = _both(told, "limit_at_10_khz_re_3_percent_level_{}_db")
    if full_level_db is not None:
        yield "level", {"gain_db": record_db, "place": "record"}
    if full_level_db is not None and limit_db is not None:
        yield "saturation", {"drive_db": 0.0, "high_limit_db": limit_db}
    drift = _drift(told, lines)
    if drift:
        yield "drift", drift
    for stage in ("modulation_noise", "print_through"):
        coat_db = _both(told, f"{stage}_{{}}_db")
        if coat_db is not None:
            yield stage, {"level_db": min(coat_db, 0.0)}
    dropouts = _dropouts(told)
    if dropouts:
        yield "dropouts", dropouts
    if "contact_fluctuation_um" in told:
        yield "contact", {"fluctuation_um": min(told["contact_fluctuation_um"], 1.0)}
    arcmin = told.get("azimuth_error_arcmin", 0.0)
    response = [curves[name] for name in (f"response_{track}_db" for track in _TRACKS) if name in curves]
    bands = fitted_band(response, arcmin) if response else None
    if bands is not None and bands.spacing_um > 0.02:
        yield "head_losses", {"spacing_um": bands.spacing_um, "aligned_spacing_um": 0.0}
    if "azimuth_error_arcmin" in told:
        wander = azimuth_arcmin(told.get("skew_wander_us", 0.0))
        yield "azimuth", {"azimuth_arcmin": arcmin, "wander_arcmin": min(wander, 30.0)}
    apart_db = _both(told, "separation_{}_db", ("left_to_right", "right_to_left"))
    if apart_db is not None:
        yield "crosstalk", {"separation_db": apart_db}
    if bands is not None:
        yield "band", {"low_hz": bands.low_hz, "high_hz": 0.0, "order": float(LOW_ORDER)}
        yield "band", {"low_hz": 0.0, "high_hz": bands.high_hz, "order": float(bands.order)}
    hum_db = _both(told, "hum_{}_db")
    if hum_db is not None:
        yield "hum", {"level_db": min(record_db + hum_db, 0.0)}
    noise_db = _both(told, "signal_to_noise_{}_db")
    if noise_db is not None:
        yield "hiss", {"level_db": record_db - noise_db, "place": "replay"}
    replay_db = _both(told, "replay_level_{}_db")
    if replay_db is not None:
        gains: dict[str, float | str] = {"gain_db": replay_db - record_db, "inverted_chance": 1.0 if inverted else 0.0}
        yield "level", {**gains, "difference_db": told.get("level_difference_db", 0.0), "place": "capture"}


def _both(told: dict[str, float], name: str, tracks: tuple[str, ...] = _TRACKS) -> float | None:
    """The mean of the figure over the tracks that have it."""
    heard = [told[name.format(track)] for track in tracks if name.format(track) in told]
    return sum(heard) / len(heard) if heard else None


def _drift(told: dict[str, float], lines: Sequence[FlutterLine]) -> dict[str, float | str]:
    drift: dict[str, float | str] = {}
    if "speed_error_percent" in told:
        drift["speed_percent"] = told["speed_error_percent"]
    if "flutter_weighted_percent" in told:
        drift["weighted_percent"] = min(told["flutter_weighted_percent"], 1.0)
        for part, parameter, low_mm, high_mm in _TURNING:
            line = next((line for line in lines if line.cause == part), None)
            if line is not None:
                diameter_mm = TAPE_SPEED_MM_PER_S / (math.pi * line.frequency_hz)
                drift[parameter] = min(max(diameter_mm, low_mm), high_mm)
    return drift


def _dropouts(told: dict[str, float]) -> dict[str, float | str]:
    outer = told.get("dropouts_left_per_minute", told.get("dropouts_mono_per_minute"))
    if outer is None:
        return {}
    inner = told.get("dropouts_right_per_minute", outer)
    if not max(outer, inner) > 0:
        return {}
    dropouts: dict[str, float | str] = {
        "per_minute": outer or inner,
        "inner_share": min(1.0, inner / outer) if outer else 1.0,
    }
    shape = (
        ("both_share", "dropouts_on_both_share"),
        ("length_ms", "dropout_length_median_ms"),
        ("length_sigma", "dropout_length_sigma"),
        ("lift_um", "dropout_lift_median_um"),
        ("lift_sigma", "dropout_lift_sigma"),
        ("missing_share", "dropouts_missing_oxide_share"),
    )
    for parameter, figure in shape:
        if figure in told:
            highest = 1.5 if parameter.endswith("sigma") else math.inf
            dropouts[parameter] = min(told[figure], highest)
    return dropouts


def _written(name: str, arguments: dict[str, float | str]) -> str:
    told = (
        f"{key}={value if isinstance(value, str) else format_value(float(f'{value:.4g}') + 0.0)}"
        for key, value in arguments.items()
    )
    return f"{name}:{','.join(told)}"
