"""The wow and flutter meter against published readings, the standard's table, and closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tapewright.measurement.flutter_meter import Waver, reading, tone_on, two_sigma, unweighted, waver, weighted
from tapewright.measurement.weighting import TABLE_DB, TABLE_HZ

RATE_HZ = 16_000
METER_HZ = 2003.0


def wavering_tone(percent: float, waver_hz: float, seconds: float, tone_hz: float = 3150.0) -> np.ndarray:
    times = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    phase = 2 * np.pi * tone_hz * times - percent / 100 * tone_hz / waver_hz * np.cos(2 * np.pi * waver_hz * times)
    return (0.3 * np.sin(phase)).astype(np.float32)


def read(row: np.ndarray) -> float:
    heard = waver(tone_on(np.stack((row, row)), RATE_HZ, 3150.0, 0, row.size))
    return two_sigma(weighted(heard))


# Published readings for sinusoidal FM of 0.1 % peak: a public implementation of AES6-2008, crediting a measuring guide.
@pytest.mark.parametrize(("waver_hz", "percent"), [(4.0, 0.0997), (0.8, 0.0499), (20.0, 0.0506), (0.2, 0.0030)])
def test_published_readings_of_a_tenth_of_a_percent(waver_hz: float, percent: float) -> None:
    # The table they rest on is rounded to 0.1 dB (0.6 %), the last of them to 1.7 %.
    assert read(wavering_tone(0.1, waver_hz, 60.0)) == pytest.approx(percent, rel=0.005, abs=0.00007)


@pytest.mark.parametrize(("waver_hz", "level_db"), list(zip(TABLE_HZ, TABLE_DB, strict=True)))
def test_the_whole_table(waver_hz: float, level_db: float) -> None:
    """A sine of peak A reads A sin(0.95 pi / 2), weighted by the entry."""
    times = np.arange(round(120 * METER_HZ)) / METER_HZ
    heard = Waver(3150.0, 0.1 * np.sin(2 * np.pi * waver_hz * times), METER_HZ, 0.0, 0.0)
    expected = 0.1 * np.sin(0.95 * np.pi / 2) * 10 ** (level_db / 20)
    # Parts of a period at the ends leak: at 0.315 Hz some 1 % of a reading that is a tenth of that at 4 Hz.
    assert two_sigma(weighted(heard)) == pytest.approx(expected, rel=0.01)


def test_unweighted_takes_all_alike_between_its_ends() -> None:
    times = np.arange(round(60 * METER_HZ)) / METER_HZ
    for waver_hz in (1.0, 10.0, 60.0):
        heard = Waver(3150.0, 0.1 * np.sin(2 * np.pi * waver_hz * times), METER_HZ, 0.0, 0.0)
        assert two_sigma(unweighted(heard)) == pytest.approx(0.0997, rel=0.01)


@given(st.integers(0, 2**32 - 1))
def test_two_sigma_of_gaussian_noise_is_1_96(seed: int) -> None:
    # Null: N(0, 1), N = 20,000: s.e. of the 95 % quantile is sqrt(0.05 * 0.95 / N) / 0.117 = 0.013; 6 of them.
    assert two_sigma(np.random.default_rng(seed).standard_normal(20_000)) == pytest.approx(1.960, abs=0.08)


@pytest.mark.parametrize("tone_hz", [2835.0, 3150.0, 3465.0])
def test_the_tone_s_own_frequency_does_not_matter(tone_hz: float) -> None:
    row = wavering_tone(0.2, 4.0, 20.0, tone_hz)
    heard = waver(tone_on(np.stack((row, row)), RATE_HZ, tone_hz * 1.004, 0, row.size))
    assert heard.mean_hz == pytest.approx(tone_hz, rel=1e-5)
    assert two_sigma(weighted(heard)) == pytest.approx(0.1994, rel=0.005)


def test_a_dropout_on_one_track_leaves_the_reading_alone() -> None:
    left, right = wavering_tone(0.1, 4.0, 30.0), wavering_tone(0.1, 4.0, 30.0)
    rng = np.random.default_rng(1)
    for start in range(RATE_HZ, left.size - RATE_HZ, RATE_HZ):
        left[start : start + 800] *= 0.003
    left += (1e-3 * rng.standard_normal(left.size)).astype(np.float32)
    heard = waver(tone_on(np.stack((left, right)), RATE_HZ, 3150.0, 0, left.size))
    assert two_sigma(weighted(heard)) == pytest.approx(0.0997, rel=0.01)


def test_a_dropout_on_both_tracks_is_bridged_and_told() -> None:
    row = wavering_tone(0.1, 4.0, 30.0)
    for start in range(RATE_HZ, row.size - RATE_HZ, RATE_HZ):
        row[start : start + 320] = 0
    heard = waver(tone_on(np.stack((row, row)), RATE_HZ, 3150.0, 0, row.size))
    assert 0.005 < heard.bridged < 0.05
    assert two_sigma(weighted(heard)) == pytest.approx(0.0997, rel=0.05)


def test_less_than_two_blocks_give_no_reading() -> None:
    assert reading("w", [np.ones(round(9 * METER_HZ))], METER_HZ, "") is None
    found = reading("w", [np.ones(round(10 * METER_HZ))], METER_HZ, "")
    assert found is not None
    assert (found.low, found.value, found.high) == (1.0, 1.0, 1.0)
