"""Skew, azimuth and their formulae, against worked tables."""

from __future__ import annotations

import numpy as np
import pytest
from tapewright.measurement.skew import (
    SkewSeries,
    azimuth_arcmin,
    azimuth_loss_db,
    blocks_of,
    skew_series,
    unmixed,
    wander_level_square,
    wander_square,
)
from tapewright.measurement.tone import Baseband, baseband

RATE_HZ = 32_000


# Geometry, tracks 0.9 mm apart at 47.6 mm/s: worked from dt = s tan(a) / v.
@pytest.mark.parametrize(("arcmin", "us"), [(5.0, 27.500), (15.0, 82.500), (60.0, 330.033), (-15.0, -82.500)])
def test_azimuth_from_skew(arcmin: float, us: float) -> None:
    assert azimuth_arcmin(us) == pytest.approx(arcmin, abs=1e-3)


# sin(x) / x for a track of 0.6 mm: worked from the formula of the textbooks.
@pytest.mark.parametrize(
    ("arcmin", "frequency_hz", "loss_db"),
    [(5.0, 10_000.0, 0.486), (15.0, 3150.0, 0.433), (15.0, 10_000.0, 4.858), (30.0, 6300.0, 8.463)],
)
def test_azimuth_loss(arcmin: float, frequency_hz: float, loss_db: float) -> None:
    assert azimuth_loss_db(arcmin, frequency_hz) == pytest.approx(loss_db, abs=1e-3)


def tracks(skew_us: np.ndarray | float, seconds: float, leak: tuple[complex, complex], hz: float) -> list[Baseband]:
    times = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    left = np.exp(2j * np.pi * hz * times)
    right = np.exp(2j * np.pi * hz * (times - skew_us * 1e-6))
    mixed = (left + leak[1] * right, right + leak[0] * left)
    rows = [(0.3 * one.imag).astype(np.float32) for one in mixed]
    return [baseband(row, RATE_HZ, hz, 250.0, 0, row.size) for row in rows]


@pytest.mark.parametrize("skew_us", [-400.0, -82.5, 0.0, 17.0, 200.0])
@pytest.mark.parametrize("opposite", [False, True])
def test_skew_is_read_through_crosstalk_and_beyond_a_half_period(skew_us: float, opposite: bool) -> None:
    leak = (0.05 * np.exp(0.3j), 0.03 * np.exp(-0.2j))
    left, right = tracks(skew_us, 2.0, leak, 3150.0)
    if opposite:
        right = Baseband(-right.values, right.rate_hz, right.start_s, right.centre_hz, right.noise_hz)
        leak = (-leak[0], -leak[1])
    series = skew_series(left, right, leak, skew_us + 40.0, opposite=opposite)
    assert series.us[5:-5] == pytest.approx(np.full(series.us.size - 10, skew_us), abs=0.02)


def test_unmixing_undoes_mixing() -> None:
    rng = np.random.default_rng(1)
    left, right = rng.standard_normal((2, 100)) + 1j * rng.standard_normal((2, 100))
    there, back = 0.1 + 0.05j, -0.2j
    one, other = unmixed(left + back * right, right + there * left, (there, back))
    assert one == pytest.approx(left)
    assert other == pytest.approx(right)


@pytest.mark.parametrize("wander_hz", [0.5, 1.0, 2.0])
def test_wander_is_read_and_noise_taken_off(wander_hz: float) -> None:
    rng = np.random.default_rng(2)
    times = np.arange(6000) / 100.0
    us = 30 + 5 * np.sin(2 * np.pi * wander_hz * times) + rng.standard_normal(times.size)
    squares = [wander_square(block) for block in blocks_of([us])]
    # Null: amplitude 5 has a mean square of 12.5; noise of 1 us rms leaves 0.08 in it and scatters by a few hundredths.
    assert np.mean(squares) == pytest.approx(12.5, rel=0.03)


def test_a_wandering_azimuth_changes_the_level_by_its_own_formula() -> None:
    # 8 arcmin and 3 arcmin peak to peak at 1 Hz, each moment's loss at 6.3 kHz by sin(x) / x; 27.5 us are 5 arcmin.
    times = np.arange(6000) / 100.0
    us = 5.5 * (8 + 1.5 * np.sin(2 * np.pi * times))
    losses_db = [azimuth_loss_db(one / 5.5, 6300.0) for one in us]
    told = wander_level_square([SkewSeries(us, 0.0)], 6300.0, 3.0)
    assert told == pytest.approx(np.var(losses_db), rel=0.03)
    assert wander_level_square([], 6300.0, 3.0) == 0.0
    assert wander_level_square([SkewSeries(us[:100], 0.0)], 6300.0, 3.0) == 0.0
