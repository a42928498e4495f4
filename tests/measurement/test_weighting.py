"""Both weightings against the tables of their standards."""

from __future__ import annotations

import numpy as np
import pytest
from tapewright.measurement.weighting import TABLE_DB, TABLE_HZ, a_weighting, flutter_weighting

# IEC 61672-1, table 3 (from memory), at nominal frequencies whose exact values are powers of ten.
A_WEIGHTING_DB = {
    31.5: -39.4,
    63.0: -26.2,
    125.0: -16.1,
    250.0: -8.6,
    500.0: -3.2,
    1000.0: 0.0,
    2000.0: 1.2,
    4000.0: 1.0,
    8000.0: -1.1,
    16_000.0: -6.6,
}


@pytest.mark.parametrize(("nominal_hz", "level_db"), A_WEIGHTING_DB.items())
def test_a_weighting_is_that_of_the_standard_s_table(nominal_hz: float, level_db: float) -> None:
    exact_hz = 10 ** (np.round(10 * np.log10(nominal_hz)) / 10)
    # Half of the table's last digit, and as much for the formula's own rounding.
    assert 20 * np.log10(a_weighting(exact_hz)) == pytest.approx(level_db, abs=0.1)


def test_flutter_weighting_is_the_table_at_its_entries_and_straight_between() -> None:
    assert 20 * np.log10(flutter_weighting(TABLE_HZ)) == pytest.approx(np.array(TABLE_DB))
    between = np.sqrt(20.0 * 40.0)
    assert 20 * np.log10(flutter_weighting(between)) == pytest.approx((-5.9 - 10.4) / 2)


def test_flutter_weighting_goes_on_falling_beyond_the_table() -> None:
    assert flutter_weighting(0.05) < flutter_weighting(0.1) / 3
    assert flutter_weighting(300.0) < flutter_weighting(200.0)
    assert flutter_weighting(0.0) == 0.0
