"""Intervals against published tables and by their coverage."""

from __future__ import annotations

import math

import numpy as np
import pytest
from tapewright.measurement.dropout_figures import dropout_findings
from tapewright.measurement.figures import Figure, Missing, of_blocks, of_counts, student_t


# Garwood (1936), 95 %, as in the usual tables of exact Poisson limits (from memory).
@pytest.mark.parametrize(
    ("count", "low", "high"), [(0, 0.0, 3.689), (1, 0.0253, 5.572), (5, 1.623, 11.668), (10, 4.795, 18.390)]
)
def test_poisson_limits_are_garwood_s(count: int, low: float, high: float) -> None:
    found = of_counts("events", count, 1.0)
    assert (found.low, found.high) == pytest.approx((low, high), abs=6e-4)


# Student's t, two-sided 95 %, from the usual tables.
@pytest.mark.parametrize(("readings", "t"), [(2, 12.706), (5, 2.776), (11, 2.228), (31, 2.042)])
def test_student_s_t(readings: int, t: float) -> None:
    assert student_t(readings) == pytest.approx(t, abs=6e-4)


def test_blocks_cover_their_mean() -> None:
    # Null: coverage 95 %; seed 1, N = 2,000: s.e. 0.49 %, 5 of them.
    rng = np.random.default_rng(1)
    covered = 0
    for _ in range(2000):
        found = of_blocks("x", 3.0 + rng.standard_normal(8))
        covered += found.low <= 3.0 <= found.high
    assert covered / 2000 == pytest.approx(0.95, abs=0.025)


def test_one_reading_leaves_everything_open() -> None:
    found = of_blocks("x", [1.0], floor=0.5)
    assert (found.low, found.value, found.high) == (0.5, 1.0, 1.5)


def test_no_dropouts_give_a_bound_and_reasons() -> None:
    found = {one.name: one for one in dropout_findings([[], []], ("left", "right"), 2.0)}
    rate = found["dropouts_left_per_minute"]
    assert isinstance(rate, Figure)
    assert (rate.value, rate.low) == (0.0, 0.0)
    assert rate.high == pytest.approx(3.689 / 2, abs=1e-3)
    for name in ("dropouts_on_both_share", "dropout_length_median_ms", "dropout_lift_sigma"):
        assert isinstance(found[name], Missing)
    assert not any(math.isnan(one.value) for one in found.values() if isinstance(one, Figure))
