"""The channel that a profile's figures make, as a spec."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from ..contracts.spec import format_value
from .figures import Curve, Figure
from .mechanics import FlutterLine

_WOW_ENDS_HZ = 4.0
"""Wow below, flutter above (dictionaries give 4 to 5 Hz)."""

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
    dropouts = _dropouts(told)
    if dropouts:
        yield "dropouts", dropouts
    response = [curves[name] for name in (f"response_{track}_db" for track in _TRACKS) if name in curves]
    if response:
        yield from _bands(response)
    if "skew_us" in told:
        yield "skew", {"skew_us": told["skew_us"], "wander_us": min(told.get("skew_wander_us", 0.0), 200.0)}
    apart_db = _both(told, "separation_{}_db", ("left_to_right", "right_to_left"))
    if apart_db is not None:
        yield "crosstalk", {"separation_db": apart_db, "low_hz": 0.0, "high_hz": 0.0}
    noise_db = _both(told, "signal_to_noise_{}_db")
    if noise_db is not None:
        yield "hiss", {"level_db": record_db - noise_db, "place": "replay"}
    hum_db = _both(told, "hum_{}_db")
    if hum_db is not None:
        yield "hum", {"level_db": record_db + hum_db}
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
        slow = [line for line in lines if line.frequency_hz < _WOW_ENDS_HZ]
        fast = [line for line in lines if line.frequency_hz >= _WOW_ENDS_HZ]
        for name, group in (("wow", slow), ("flutter", fast)):
            if group:
                drift[f"{name}_percent"] = math.sqrt(sum(line.peak_percent**2 for line in group))
                drift[f"{name}_hz"] = group[0].frequency_hz
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


def _bands(response: Sequence[Curve]) -> Iterator[Stage]:
    """Slopes at both ends that come nearest to the response: of second order below, of first to fourth above."""
    from scipy.optimize import least_squares

    hz = np.array(response[0].places)
    level = np.mean([curve.values for curve in response], axis=0)
    reference = hz == 315.0
    best: tuple[float, NDArray[np.float64], int] | None = None
    for order in (1, 2, 3, 4):

        def miss(logs: NDArray[np.float64], order: int = order) -> NDArray[np.float64]:
            shape = slopes_db(hz, math.exp(logs[0]), math.exp(logs[1]), order)
            return np.asarray(shape - shape[reference] - level)

        ends = ([math.log(1.0), math.log(1500.0)], [math.log(390.0), math.log(50_000.0)])
        fit = least_squares(miss, [math.log(30.0), math.log(10_000.0)], bounds=ends, loss="soft_l1")
        if best is None or fit.cost < best[0]:
            best = (float(fit.cost), np.exp(fit.x), order)
    assert best is not None
    low_hz, high_hz = (float(value) for value in best[1])
    if low_hz > 5.0:
        yield "band", {"low_hz": low_hz, "high_hz": 0.0, "order": 2.0}
    if high_hz < 40_000.0:
        yield "band", {"low_hz": 0.0, "high_hz": high_hz, "order": float(best[2])}


def slopes_db(hz: NDArray[np.float64], low_hz: float, high_hz: float, order: int) -> NDArray[np.float64]:
    """Butterworth slopes: of order 2 below ``low_hz``, of ``order`` above ``high_hz``."""
    return np.asarray(-10 * np.log10(1 + (low_hz / hz) ** 4) - 10 * np.log10(1 + (hz / high_hz) ** (2 * order)))


def _written(name: str, arguments: dict[str, float | str]) -> str:
    told = (
        f"{key}={value if isinstance(value, str) else format_value(float(f'{value:.4g}') + 0.0)}"
        for key, value in arguments.items()
    )
    return f"{name}:{','.join(told)}"
