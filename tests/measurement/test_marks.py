"""The test recording is found wherever and however it lies in a capture."""

from __future__ import annotations

import numpy as np
import pytest
from tapewright.contracts import registry
from tapewright.contracts.signal import Signal
from tapewright.measurement.layout import MARKS_S, sections
from tapewright.measurement.marks import locate
from tapewright.measurement.playing import playing


def heard(recording: Signal, spec: str) -> Signal:
    return registry.channel(spec).degrade(recording, np.random.default_rng(3))


@pytest.mark.parametrize(("speed_percent", "gain_db"), [(-10.0, 12.0), (-3.0, -40.0), (10.0, -40.0)])
def test_found_at_any_gain_and_at_ten_percent_off_speed(
    recording: Signal, speed_percent: float, gain_db: float
) -> None:
    spec = f"drift:speed_percent={speed_percent}/level:gain_db={gain_db},place=capture"
    located = locate(heard(recording, spec))
    assert located is not None
    assert len(located.marks_s) == len(MARKS_S)
    assert located.speed == pytest.approx(1 + speed_percent / 100, rel=1e-5)
    expected_s = np.array(MARKS_S) / (1 + speed_percent / 100)
    assert located.marks_s[:, 1] == pytest.approx(expected_s, abs=0.002)


def test_found_under_hiss_hum_and_an_offset(recording: Signal) -> None:
    spec = "level:gain_db=-20/hum:level_db=-20/hiss:level_db=-36,place=replay/sound_input:offset=0.2"
    located = locate(heard(recording, spec))
    assert located is not None
    assert len(located.marks_s) == len(MARKS_S)


@pytest.mark.parametrize(("turned", "swapped"), [((1, 1), True), ((-1, -1), False), ((1, -1), True), ((-1, 1), False)])
def test_polarity_and_order_of_the_tracks_are_told(recording: Signal, turned: tuple[int, int], swapped: bool) -> None:
    rows = recording.samples * np.array(turned, np.float32)[:, None]
    play = playing(Signal(rows[::-1] if swapped else rows, recording.sample_rate_hz))
    assert play is not None
    assert play.swapped == swapped
    assert not play.mono
    assert play.inverted == (turned[0] < 0)
    assert play.opposite == (turned[0] != turned[1])


def test_one_track_on_both_rows_is_mono(recording: Signal) -> None:
    play = playing(Signal(recording.samples[0], recording.sample_rate_hz))
    assert play is not None
    assert play.mono
    summed = Signal(np.stack([recording.samples.mean(axis=0)] * 2), recording.sample_rate_hz)
    play = playing(summed)
    assert play is not None
    assert play.mono


@pytest.mark.parametrize(("first_s", "last_s"), [(40, 175), (0, 60), (55, 150)])
def test_a_part_of_it_is_placed_rightly(recording: Signal, first_s: int, last_s: int) -> None:
    rate = recording.sample_rate_hz
    noise = 0.001 * np.random.default_rng(1).standard_normal((2, 3 * rate))
    part = np.concatenate((noise, recording.samples[:, first_s * rate : last_s * rate], noise), axis=1)
    located = locate(Signal(part, rate))
    assert located is not None
    for place_s, time_s in located.marks_s:
        assert time_s == pytest.approx(place_s - first_s + 3, abs=0.001)
    carrier = sections("carrier")[0]
    span = located.span(carrier, Signal(part, rate))
    inside = first_s <= carrier.start_s and carrier.end_s <= last_s
    assert (span is not None) == inside


def test_what_is_not_the_test_recording_is_not_taken_for_it(recording: Signal) -> None:
    rate = recording.sample_rate_hz
    rng = np.random.default_rng(2)
    times = np.arange(40 * rate) / rate
    babble = np.cumsum(rng.standard_normal((2, times.size)), axis=1)
    babble = (babble - babble.mean()) / np.abs(babble).max()
    for rows in (
        rng.standard_normal((2, times.size)),
        np.stack([np.sin(2 * np.pi * 3150 * times)] * 2),
        babble,
        np.stack([np.sin(2 * np.pi * (500 * times + 40 * times**2))] * 2),
        np.zeros((2, times.size)),
        np.zeros((2, 100)),
    ):
        assert locate(Signal(0.3 * rows, rate)) is None
    program = registry.codec("plain-biphase").encode(bytes(range(256)) * 8, rate)
    assert locate(program) is None


@pytest.mark.parametrize(
    ("first_s", "last_s", "place_s"), [(0, 30, 1.05), (5, 43, 11.45), (40, 60, 43.35), (57, 119, 58.05)]
)
def test_two_neighbours_are_believed_for_what_stands_between_them(
    recording: Signal, first_s: int, last_s: int, place_s: float
) -> None:
    rate = recording.sample_rate_hz
    spec = "drift:speed_percent=4/hiss:level_db=-46,place=replay"
    part = heard(Signal(recording.samples[:, first_s * rate : last_s * rate], rate), spec)
    located = locate(part)
    assert located is not None
    assert len(located.marks_s) == 2
    assert located.marks_s[0] == pytest.approx([place_s, (place_s - first_s) / 1.04], abs=0.002)
    assert located.speed == pytest.approx(1.04, rel=1e-4)


def test_two_marks_with_something_else_between_them_are_not(recording: Signal) -> None:
    rate = recording.sample_rate_hz
    rows = recording.samples[:, : 30 * rate].copy()
    rows[:, 2 * rate : 11 * rate] = 0.1 * np.random.default_rng(4).standard_normal((2, 9 * rate))
    assert locate(Signal(rows, rate)) is None
