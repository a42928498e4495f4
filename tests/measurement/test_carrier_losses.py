"""Dropouts of a carrier pair: how many, how long, how deep, lift or missing oxide."""

from __future__ import annotations

import numpy as np
import pytest
from tapewright.measurement.carrier_losses import (
    Loss,
    contact_blocks,
    contact_fluctuation,
    loss_series,
    losses,
    on_both,
    spacing_loss_db,
)
from tapewright.measurement.dropout_figures import dropout_findings
from tapewright.measurement.figures import Figure

SERIES_HZ = 8000.0
LOW_HZ, HIGH_HZ = 3150.0, 6300.0


# Wallace's spacing loss at 47.6 mm/s: worked table, dB.
@pytest.mark.parametrize(
    ("lift_um", "hz", "loss_db"),
    [(0.5, 1200.0, 0.69), (0.5, 10_000.0, 5.73), (1.0, 2400.0, 2.75), (1.0, 6300.0, 7.22), (5.0, 3150.0, 18.06)],
)
def test_spacing_loss(lift_um: float, hz: float, loss_db: float) -> None:
    assert spacing_loss_db(lift_um, hz) == pytest.approx(loss_db, abs=0.006)


def carriers(events: list[tuple[float, float, float, float]], noise: float, seconds: float = 20.0) -> list[np.ndarray]:
    """Both carriers with (start, length, loss of the low, loss of the high) each, edges a quarter of the length."""
    rng = np.random.default_rng(5)
    times = np.arange(round(seconds * SERIES_HZ)) / SERIES_HZ
    rows = []
    for which in (2, 3):
        loss_db = np.zeros(times.size)
        for event in events:
            start_s, length_s = event[:2]
            near_s = np.minimum(times - start_s, start_s + length_s - times)
            share = np.clip(near_s / (0.25 * length_s) + 0.5, 0, 1)
            loss_db += event[which] * (0.5 - 0.5 * np.cos(np.pi * share))
        drawn = (rng.standard_normal(times.size) + 1j * rng.standard_normal(times.size)) * np.sqrt(noise / 2)
        rows.append(10 ** (-loss_db / 20) + drawn)
    return rows


def found(events: list[tuple[float, float, float, float]], noise: float = 1e-4) -> list[Loss]:
    low, high = carriers(events, noise)
    return losses(loss_series(low, SERIES_HZ, LOW_HZ, 0.0, noise), loss_series(high, SERIES_HZ, HIGH_HZ, 0.0, noise), 0)


def lift(start_s: float, length_s: float, um: float) -> tuple[float, float, float, float]:
    return start_s, length_s, spacing_loss_db(um, LOW_HZ), spacing_loss_db(um, HIGH_HZ)


@pytest.mark.parametrize("um", [1.0, 2.0, 4.0])
@pytest.mark.parametrize("length_s", [0.005, 0.03, 0.2])
def test_a_lift_is_found_with_its_length_and_height(um: float, length_s: float) -> None:
    (one,) = found([lift(8.0, length_s, um)])
    assert one.start_s == pytest.approx(8.0, abs=0.002)
    assert one.length_s == pytest.approx(length_s, abs=0.0015)
    assert one.lift_um == pytest.approx(um, rel=0.05)


def test_a_lift_too_high_for_the_upper_carrier_is_read_off_the_lower_one() -> None:
    (one,) = found([lift(8.0, 0.03, 7.0)], noise=1e-3)
    assert one.lift_um == pytest.approx(7.0, rel=0.15)


def test_missing_oxide_costs_both_carriers_the_same() -> None:
    (one,) = found([(8.0, 0.02, 28.0, 28.0)])
    assert one.lift_um is None
    assert one.depth_db == pytest.approx(28.0, abs=1.0)


def test_what_is_less_than_six_db_is_no_dropout() -> None:
    assert found([lift(8.0, 0.02, 0.75)]) == []
    assert len(found([lift(8.0, 0.02, 0.92)])) == 1


def test_neighbours_are_counted_apart_and_noise_not_at_all() -> None:
    assert len(found([lift(8.0, 0.02, 2.0), lift(8.08, 0.02, 2.0), lift(12.0, 0.01, 3.0)])) == 3
    assert found([]) == []


def test_dropouts_on_both_tracks_are_those_that_overlap() -> None:
    left = [Loss(1.0, 0.02, 10.0, 1.4, 0, HIGH_HZ), Loss(2.0, 0.02, 10.0, 1.4, 0, HIGH_HZ)]
    right = [Loss(1.01, 0.02, 10.0, 1.4, 1, HIGH_HZ), Loss(3.0, 0.02, 10.0, 1.4, 1, HIGH_HZ)]
    assert on_both(left, right) == 1
    share = next(one for one in dropout_findings([left, right], ("left", "right"), 1.0) if "both" in one.name)
    assert isinstance(share, Figure)
    # Jeffreys for 1 of 2 is Beta(3/2, 3/2), a semicircle, whose distribution is 1/2 + (u sqrt(1 - u^2) + asin u) / pi.
    for end, below in ((share.low, 0.025), (share.high, 0.975)):
        u = 2 * end - 1
        assert 0.5 + (u * np.sqrt(1 - u * u) + np.arcsin(u)) / np.pi == pytest.approx(below, abs=1e-6)


def test_no_dropout_on_both_tracks_or_all_of_them_ends_the_interval_there() -> None:
    left = [Loss(float(i), 0.02, 10.0, 1.4, 0, HIGH_HZ) for i in range(5)]
    apart = [Loss(i + 0.5, 0.02, 10.0, 1.4, 1, HIGH_HZ) for i in range(5)]
    for right, value in ((apart, 0.0), (left, 1.0)):
        share = next(one for one in dropout_findings([left, right], ("left", "right"), 1.0) if "both" in one.name)
        assert isinstance(share, Figure)
        assert share.value == value
        assert (share.low if value == 0.0 else share.high) == value
        assert 0.3 < share.high - share.low < 0.5


@pytest.mark.parametrize(("um", "missing_db", "unclear"), [(6.0, 0.0, False), (0.0, 48.0, True)])
def test_a_lift_too_high_is_not_taken_for_perhaps_missing_oxide(um: float, missing_db: float, unclear: bool) -> None:
    event = lift(8.0, 0.03, um) if um else (8.0, 0.03, missing_db, missing_db)
    (one,) = found([event], noise=1e-3)
    assert one.unclear is unclear


def test_contact_is_read_beside_a_wandering_azimuth() -> None:
    # Both tracks waver together by 0.05 um of contact at 6 Hz and by 0.15 dB at 1 Hz, which is an azimuth's doing.
    times = np.arange(round(40 * SERIES_HZ)) / SERIES_HZ
    contact_db = spacing_loss_db(0.05 * np.sqrt(2), HIGH_HZ) * np.sin(2 * np.pi * 6 * times)
    level_db = contact_db + 0.15 * np.sin(2 * np.pi * times)
    series = loss_series(10 ** (-level_db / 20) + 0j, SERIES_HZ, HIGH_HZ, 0.0)
    blocks = contact_blocks(series, series, [])
    told = contact_fluctuation(blocks, HIGH_HZ, 0.15**2 / 2)
    assert isinstance(told, Figure)
    assert told.value == pytest.approx(0.05, rel=0.03)
    assert told.low <= 0.05 <= told.high
    alone = contact_fluctuation(blocks, HIGH_HZ)
    assert isinstance(alone, Figure)
    assert alone.low > 0.05


def test_lengths_and_lifts_of_a_log_normal_are_recovered() -> None:
    # Null: 400 draws, seed 6: median of lengths s.e. 5 %, of lifts (truncated at 0.83 um) some 10 %; 4 of them.
    rng = np.random.default_rng(6)
    lifts = 2.0 * np.exp(0.7 * rng.standard_normal(1000))
    lifts = lifts[lifts > 0.83][:400]
    lengths = 0.015 * np.exp(1.0 * rng.standard_normal(400))
    all_of = [Loss(float(i), s, 10.0, um, 0, HIGH_HZ) for i, (s, um) in enumerate(zip(lengths, lifts, strict=True))]
    told = {one.name: one for one in dropout_findings([all_of], ("mono",), 10.0) if isinstance(one, Figure)}
    for name, value in (
        ("dropout_length_median_ms", 15.0),
        ("dropout_length_sigma", 1.0),
        ("dropout_lift_median_um", 2.0),
        ("dropout_lift_sigma", 0.7),
    ):
        assert told[name].value == pytest.approx(value, rel=0.2)
        assert told[name].low <= value <= told[name].high
