"""The soft law of saturation against its own series and limits."""

from __future__ import annotations

import numpy as np
import pytest
from tapewright.measurement.soft_law import output_db, third_db, wanted_for_third_db


def test_small_third_harmonics_follow_the_series_of_the_hyperbolic_tangent() -> None:
    """tanh x = x - x^3 / 3 + ...: a sine of peak a has a third harmonic of a^2 / 12 of its fundamental."""
    peak = 0.05
    wanted_db = 20 * np.log10(peak / (4 / np.pi))
    assert third_db(wanted_db) == pytest.approx(20 * np.log10(peak**2 / 12), abs=0.05)
    assert third_db(wanted_db) - third_db(wanted_db - 10) == pytest.approx(20.0, abs=0.1)


def test_hard_driven_it_is_a_square_wave() -> None:
    assert output_db(40.0) == pytest.approx(0.0, abs=0.01)
    # The third harmonic of a square wave is a third of its fundamental.
    assert third_db(40.0) == pytest.approx(20 * np.log10(1 / 3), abs=0.05)


def test_the_level_of_three_percent_is_where_three_percent_are() -> None:
    level_db = wanted_for_third_db(20 * np.log10(0.03))
    angles = 2 * np.pi * (np.arange(4096) + 0.5) / 4096
    bent = np.tanh(4 / np.pi * 10 ** (level_db / 20) * np.sin(angles))
    share = abs((bent * np.sin(3 * angles)).sum() / (bent * np.sin(angles)).sum())
    assert share == pytest.approx(0.03, rel=0.002)
