"""The test recording: what is promised of its sections is what sounds."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from tapewright.contracts.errors import UsageError
from tapewright.contracts.signal import Signal
from tapewright.measurement.layout import (
    DURATION_S,
    LAYOUT,
    LAYOUT_VERSION,
    MARKS_S,
    RESPONSE_HZ,
    LayoutLabel,
    sections,
    whole_recording,
)


def piece(recording: Signal, section) -> np.ndarray:
    start, stop = (round(at * recording.sample_rate_hz) for at in (section.start_s, section.end_s))
    return recording.samples[:, start:stop]


def test_sections_follow_each_other_and_fill_three_to_five_minutes() -> None:
    assert all(earlier.end_s <= later.start_s for earlier, later in pairwise(LAYOUT))
    assert 180 <= DURATION_S <= 300


def test_every_section_sounds_on_its_tracks_only_and_the_gaps_are_silent(recording: Signal) -> None:
    covered = np.zeros(recording.frames, bool)
    for section in LAYOUT:
        heard = np.abs(piece(recording, section)).max(axis=1) > 1e-3
        wanted = (False, False) if section.sound == "silence" else section.tracks
        assert tuple(heard) == wanted, section
        if section.sound != "silence":
            start, stop = (round(at * recording.sample_rate_hz) for at in (section.start_s, section.end_s))
            covered[start - 1 : stop + 1] = True
    assert not recording.samples[:, ~covered].any()


def test_tones_have_the_frequency_and_the_level_that_the_layout_says(recording: Signal) -> None:
    rate = recording.sample_rate_hz
    for section in LAYOUT:
        if section.sound != "tones":
            continue
        row = piece(recording, section)[0 if section.tracks[0] else 1].astype(np.float64)
        window = np.hanning(row.size)
        times = np.arange(row.size) / rate
        for hz, level_db in section.tones:
            peak = 2 * abs((row * window * np.exp(-2j * np.pi * hz * times)).sum()) / window.sum()
            # The faded edges, 2 % of the shortest step, lie where the window is nearly 0.
            assert 20 * np.log10(peak) == pytest.approx(level_db, abs=0.01)


def test_every_kind_of_section_is_there() -> None:
    assert {section.tones[0][0] for section in sections("ladder")} == {315.0}
    assert {section.tones[0][0] for section in sections("limit_ladder")} == {10_000.0}
    assert max(RESPONSE_HZ) == 14_000.0
    for tracks in ((True, False), (False, True)):
        assert {s.tones[0][0] for s in sections("response") if s.tracks == tracks} == set(RESPONSE_HZ)
    assert [section.tracks for section in sections("pulses")] == [(True, False), (False, True), (True, True)]
    assert sum(section.length_s for section in sections("carrier")) >= 60
    assert len(MARKS_S) >= 8


def test_pulses_stand_upright(recording: Signal) -> None:
    for section in sections("pulses"):
        rows = piece(recording, section)[list(np.flatnonzero(section.tracks))]
        assert (rows.max(axis=1) > 1.5 * -rows.min(axis=1)).all()


def test_it_stays_within_full_scale_and_is_the_same_every_time(recording: Signal) -> None:
    assert np.abs(recording.samples).max() <= 1.0
    assert recording == whole_recording(recording.sample_rate_hz)


@pytest.mark.parametrize("rate", [8000, 31_999])
def test_a_rate_without_14_khz_is_refused(rate: int) -> None:
    with pytest.raises(UsageError, match="at least 32000"):
        whole_recording(rate)


def test_three_marks_in_a_row_tell_their_place_at_any_speed() -> None:
    apart = [later - earlier for earlier, later in pairwise(MARKS_S)]
    ratios = sorted(later / earlier for earlier, later in pairwise(apart))
    assert all(larger / smaller > 1.02 for smaller, larger in pairwise(ratios))


def test_the_metadata_say_the_version_of_the_layout() -> None:
    told = LayoutLabel().to_json()
    assert told == {"test_recording": LAYOUT_VERSION, "length_s": DURATION_S}
