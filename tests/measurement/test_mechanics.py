"""Lines of wow and flutter and the parts that make them."""

from __future__ import annotations

import numpy as np
import pytest
from tapewright.measurement.mechanics import bands, cause_of, lines, waver_spectrum

METER_HZ = 2000.0


# v / (pi D) with diameters of common practice.
@pytest.mark.parametrize(
    ("hz", "part"),
    [
        (7.576, "capstan"),
        (5.051, "capstan"),
        (1.515, "pinch roller"),
        (1.166, "pinch roller"),
        (2.525, "guide roller of the shell"),
        (0.689, "reels"),
        (0.300, "reels"),
        (0.389, "reels"),
    ],
)
def test_parts_turn_as_their_diameters_say(hz: float, part: str) -> None:
    assert part in cause_of(hz)


def test_what_fits_no_part_is_said_to_be_something_else() -> None:
    assert cause_of(25.0) == "motor, belt or bearing"
    assert cause_of(0.9) not in {"capstan", "pinch roller", "reels"}
    assert "twice" in cause_of(13.0)


def test_lines_are_found_with_their_peaks_and_shares() -> None:
    rng = np.random.default_rng(3)
    times = np.arange(round(60 * METER_HZ)) / METER_HZ
    percent = 0.10 * np.sin(2 * np.pi * 6.9 * times) + 0.20 * np.sin(2 * np.pi * 1.3 * times)
    percent += 0.05 * rng.standard_normal(times.size)
    spectrum = waver_spectrum([percent, percent[::-1]], METER_HZ)
    assert spectrum is not None
    found = lines(spectrum)
    assert {line.cause for line in found} == {"capstan", "pinch roller"}
    for line in found:
        hz, peak = (6.9, 0.10) if line.cause == "capstan" else (1.3, 0.20)
        assert line.frequency_hz == pytest.approx(hz, abs=0.05)
        assert line.peak_percent == pytest.approx(peak, rel=0.03)
        assert line.low <= line.peak_percent <= line.high
    # Weights from the table between 1.0 and 1.6 Hz and 6.3 and 10 Hz: 1.3 Hz -2.87 dB, 6.9 Hz -1.14 dB.
    shares = {line.cause: line.weighted_share for line in found}
    expected = (0.20 * 10 ** (-2.87 / 20)) ** 2 / (0.10 * 10 ** (-1.14 / 20)) ** 2
    assert shares["pinch roller"] / shares["capstan"] == pytest.approx(expected, rel=0.05)


def test_noise_has_no_lines() -> None:
    percent = 0.1 * np.random.default_rng(4).standard_normal(round(110 * METER_HZ))
    spectrum = waver_spectrum([percent], METER_HZ)
    assert spectrum is not None
    assert lines(spectrum) == ()


def test_bands_hold_the_power_of_what_is_in_them() -> None:
    times = np.arange(round(60 * METER_HZ)) / METER_HZ
    spectrum = waver_spectrum([0.1 * np.sin(2 * np.pi * 10 * times)], METER_HZ)
    assert spectrum is not None
    middles, rms = bands(spectrum)
    assert rms[np.argmin(np.abs(middles - 10))] == pytest.approx(0.1 / np.sqrt(2), rel=0.01)


def test_a_short_stretch_has_no_spectrum() -> None:
    assert waver_spectrum([np.zeros(round(9 * METER_HZ))], METER_HZ) is None
