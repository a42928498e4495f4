"""Captures that are not what was asked for: what can be had is measured, the rest is said to be missing, and why."""

from __future__ import annotations

import numpy as np
import pytest
from simulated_deck import Deck
from tapewright.contracts import registry
from tapewright.contracts.errors import TargetNotMet
from tapewright.contracts.signal import Signal
from tapewright.measurement.expected import OUT_OF_REACH, expected
from tapewright.measurement.layout import DURATION_S
from tapewright.measurement.measuring import Measurement, measure
from tapewright.measurement.profile import Profile

RATE_HZ = 16_000


def reasons(profile: Profile) -> dict[str, str]:
    return {one.name: one.reason for one in profile.missing}


def hiss(seconds: float, sigma: float = 1e-3, seed: int = 1) -> np.ndarray:
    drawn = sigma * np.random.default_rng(seed).standard_normal((2, round(seconds * RATE_HZ)))
    return drawn.astype(np.float32)


def wavering(seconds: float, hz: float, percent: float, waver_hz: float) -> np.ndarray:
    times = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    turns = hz * times - percent / 100 * hz / (2 * np.pi * waver_hz) * np.cos(2 * np.pi * waver_hz * times)
    return (0.3 * np.sin(2 * np.pi * turns)).astype(np.float32)


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        (hiss(1.9), "1.90 s long and 2 s are needed"),
        (np.zeros((2, 0), np.float32), "0.00 s long"),
        (np.zeros((2, 5 * RATE_HZ), np.float32), "nothing but zeros"),
        (hiss(10.0, 0.1), "no test recording, no steady tone and no quiet moment"),
    ],
)
def test_nothing_to_measure_is_said(rows: np.ndarray, words: str) -> None:
    with pytest.raises(TargetNotMet, match=words) as refused:
        measure(Signal(rows, RATE_HZ))
    assert refused.value.exit_code == 3


def test_a_program_has_nothing_to_measure_but_perhaps_its_noise() -> None:
    program = registry.codec("plain-biphase").encode(bytes(range(256)) * 4, RATE_HZ)
    with pytest.raises(TargetNotMet):
        measure(program)


def test_one_tone_gives_its_flutter_and_its_dropouts() -> None:
    tone = wavering(60.0, 3000.0, 0.1, 4.0)
    rows = hiss(60.0) + tone
    for start_s in (20.0, 30.0, 40.0):
        start = round(start_s * RATE_HZ)
        rows[0, start : start + 320] *= 0.1
    profile = measure(Signal(rows, RATE_HZ)).profile
    weighted = profile.figure("flutter_weighted_percent")
    assert weighted is not None
    assert weighted.value == pytest.approx(0.0997, rel=0.02)
    left, right = (profile.figure(f"dropouts_{track}_per_minute") for track in ("left", "right"))
    assert left is not None
    assert right is not None
    assert left.value == pytest.approx(3.0, rel=0.1)
    assert right.value == 0
    told = reasons(profile)
    for name in ("speed_error_percent", "skew_us", "separation_left_to_right_db", "response_left_db"):
        assert "does not hold the test recording" in told[name]
    assert any("steady tone of 3000" in note for note in profile.notes)
    assert profile.provenance["test_recording"] is False


def test_a_quiet_stretch_gives_its_noise_only() -> None:
    rng = np.random.default_rng(3)
    loud = (0.2 * rng.standard_normal((2, 10 * RATE_HZ))).astype(np.float32)
    profile = measure(Signal(np.concatenate((loud, hiss(8.0, 1e-3), loud), axis=1), RATE_HZ)).profile
    noise = profile.figure("noise_left_db")
    assert noise is not None
    # 1e-3 rms from 20 Hz to 8 kHz re a full-scale sine.
    assert noise.value == pytest.approx(20 * np.log10(1e-3) + 10 * np.log10(2), abs=0.2)
    assert "up to 8,000 Hz only" in noise.method
    assert {one.name for one in profile.figures} == {f"noise_{w}{t}_db" for w in ("", "a_") for t in ("left", "right")}
    assert "no steady tone" in reasons(profile)["flutter_weighted_percent"]


def test_one_track_gives_no_figure_of_two(recording: Signal) -> None:
    heard = registry.channel("drift:speed_percent=1/hiss:level_db=-46,place=replay").degrade(
        recording, np.random.default_rng(1)
    )
    profile = measure(Signal(heard.samples[0], heard.sample_rate_hz)).profile
    told = reasons(profile)
    for name in ("skew_us", "azimuth_error_arcmin", "level_difference_db", "separation_left_to_right_db"):
        assert told[name] == "both tracks of the capture carry the same sound"
    assert any("one track only" in note for note in profile.notes)
    noise, speed = profile.figure("signal_to_noise_mono_db"), profile.figure("speed_error_percent")
    assert noise is not None
    assert speed is not None
    # The hiss ends with the sample rate at 16 kHz.
    expected_db = 46.0 + 10 * np.log10((20_000 - 20) / (16_000 - 20))
    assert noise.low - 0.1 <= expected_db <= noise.high + 0.1
    assert speed.low <= 1.0 <= speed.high
    assert profile.curve("response_mono_db") is not None


def test_heavy_clipping_takes_away_what_it_spoils(capture: Signal, deck: Deck) -> None:
    gain = 20.0 / np.abs(capture.samples).max()
    clipped = Signal(np.clip(gain * capture.samples, -1, 1), capture.sample_rate_hz)
    profile = measure(clipped).profile
    assert any("the sound input clips" in note for note in profile.notes)
    told = reasons(profile)
    for name in ("three_percent_level_left_db", "dropouts_left_per_minute", "level_difference_db"):
        assert "the sound input clips" in told[name]
    assert not any(one.name.startswith("limit_at_10_khz") for one in profile.figures)
    speed = profile.figure("speed_error_percent")
    assert speed is not None
    assert speed.value == pytest.approx(deck.speed_percent, abs=0.05)


def test_at_11_khz_what_lies_above_is_missing(capture: Signal, deck: Deck) -> None:
    low = capture.samples[:, ::3]  # what aliases is beyond what is asked here, except for the noise
    profile = measure(Signal(low, 10_667)).profile
    speed = profile.figure("speed_error_percent")
    assert speed is not None
    true_percent = 100 * ((1 + deck.speed_percent / 100) * 10_667 * 3 / 32_000 - 1)
    assert speed.low - 1e-3 <= true_percent <= speed.high + 1e-3
    assert "does not reach 10 kHz" in reasons(profile)["limit_at_10_khz_re_3_percent_level_left_db"]
    response = profile.curve("response_left_db")
    assert response is not None
    assert max(response.places) == 4000.0


def test_a_part_of_the_recording_gives_a_part_of_the_figures(recording: Signal) -> None:
    rate = recording.sample_rate_hz
    part = Signal(recording.samples[:, : round(0.6 * DURATION_S) * rate], rate)
    heard = registry.channel("drift:speed_percent=-2/hiss:level_db=-46,place=replay").degrade(
        part, np.random.default_rng(1)
    )
    profile = measure(heard).profile
    assert profile.figure("speed_error_percent") is not None
    assert profile.figure("three_percent_level_left_db") is None
    assert "polarity_inverted" not in profile.provenance


def test_the_first_half_minute_gives_what_two_marks_hold_between_them(capture: Signal, deck: Deck) -> None:
    rate = capture.sample_rate_hz
    profile = measure(Signal(capture.samples[:, : 30 * rate], rate)).profile
    assert profile.provenance["marks_found"] == 2
    true = deck.truth(rate)
    for name in ("speed_error_percent", "level_difference_db", "three_percent_level_left_db", "replay_level_right_db"):
        figure = profile.figure(name)
        assert figure is not None, name
        assert figure.low <= true[name] <= figure.high, name
    told = reasons(profile)
    assert told["skew_us"] == "the capture does not hold the carriers of the test recording"
    assert told["signal_to_noise_left_db"] == "the capture does not hold the silence of the test recording"


@pytest.mark.parametrize("kept", [(0, 30), (13, 45), (0, 60), (100, 140), (57, 119), (0, 235)])
def test_every_figure_is_there_or_its_absence_explained(capture: Signal, kept: tuple[int, int]) -> None:
    rate = capture.sample_rate_hz
    first_s, last_s = kept
    profile = measure(Signal(capture.samples[:, first_s * rate : last_s * rate], rate)).profile
    found = {one.name for one in (*profile.figures, *profile.curves)}
    told = reasons(profile)
    wanted = {name for name, _ in expected(("left", "right"))} | set(OUT_OF_REACH)
    assert wanted <= found | told.keys()
    assert not found & told.keys()
    assert all(told.values())


def test_a_tone_on_one_track_only_is_not_told_of_two() -> None:
    tone = wavering(25.0, 3000.0, 0.1, 4.0) + hiss(25.0)[0]
    profile = measure(Signal(tone, RATE_HZ), one_track=True).profile
    names = {one.name for one in profile.figures}
    assert "dropouts_mono_per_minute" in names
    assert not any("left" in name or "right" in name for name in names)


def test_measuring_tells_how_far_it_is(measured: Measurement, steps_told: list[tuple[int, int]]) -> None:
    assert steps_told == sorted(steps_told)
    assert (steps_told[0], steps_told[-1]) == ((1, 10), (9, 10))
    assert len(set(steps_told)) == 5
