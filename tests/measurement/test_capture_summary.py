"""What a capture of any format shows."""

from __future__ import annotations

import numpy as np
import pytest
from tapewright.contracts import registry
from tapewright.contracts.signal import Signal
from tapewright.measurement.capture_summary import summarise

PROGRAM = np.random.default_rng(4).bytes(60)


def tape(spec: str) -> Signal:
    return registry.codec(spec).encode(PROGRAM)


@pytest.mark.parametrize("spec", ["fsk", "biphase", "clocked"])
@pytest.mark.parametrize("skew_us", [-60.0, 0.0, 25.0, 110.0])
def test_skew_is_read_off_tracks_that_have_something_in_common(spec: str, skew_us: float) -> None:
    # Positive: the right track later. 110 us are 20 minutes of arc at 0.9 mm and 47.6 mm/s: w tan(a) / v.
    skewed = registry.channel(f"skew:skew_us={skew_us}").degrade(tape(spec), np.random.default_rng(0))
    told = summarise(skewed, None, None)
    assert told.skew_us == pytest.approx(skew_us, abs=2.0)
    assert not told.is_one_inverted


def test_tracks_with_nothing_in_common_have_no_skew() -> None:
    noise = Signal(0.1 * np.random.default_rng(1).standard_normal((2, 100_000)), 44_100)
    assert summarise(noise, None, None).skew_us is None


def test_levels_offset_clipping_silence_and_polarity() -> None:
    signal = tape("fsk:level_db=-6")
    quiet = Signal(signal.samples * np.array([[1.0], [-0.1]], np.float32) + np.float32(0.05), 44_100)
    told = summarise(quiet, 0.5, None)
    left, right = told.tracks
    assert left.level_db == pytest.approx(-6.0, abs=0.2)
    assert right.level_db == pytest.approx(-26.0, abs=0.2)
    assert left.offset == pytest.approx(0.05, abs=0.002)
    assert told.is_one_inverted
    assert left.clipped_share == 0.0
    loud = summarise(Signal(np.clip(signal.samples * 4, -1, 1), 44_100), None, None)
    # |sin| is above 1/2 for two thirds of a cycle.
    assert loud.tracks[0].clipped_share == pytest.approx(2 / 3, abs=0.02)
    one = summarise(Signal(signal.samples * np.array([[0.0], [1.0]], np.float32), 44_100), None, None)
    assert one.tracks[0].level_db is None
    assert str(one).startswith("left silent, right -6.0 dB")


def test_dropouts_are_found_where_they_are_and_keyed_tracks_have_none() -> None:
    signal = tape("biphase")
    samples = signal.samples.copy()
    for track, start_s, length_s in ((0, 1.1, 0.02), (1, 1.2, 0.04)):
        samples[track, int(start_s * 44_100) : int((start_s + length_s) * 44_100)] *= np.float32(0.1)
    told = summarise(Signal(samples, 44_100), 0.2, signal.duration_s - 0.3)
    first, second = told.dropouts
    assert (first.track, second.track) == ("left", "right")
    for dropout, start_s, length_s in ((first, 1.1, 0.02), (second, 1.2, 0.04)):
        assert dropout.start_s == pytest.approx(start_s, abs=0.005)
        assert dropout.length_s == pytest.approx(length_s, abs=0.009)
        assert dropout.depth_db == pytest.approx(20, abs=2)
    keyed = summarise(tape("clocked"), None, None)
    assert keyed.dropouts == ()
    assert all(track.is_keyed for track in keyed.tracks)


def test_nothing_and_next_to_nothing() -> None:
    for frames in (0, 1, 30, 500):
        told = summarise(Signal(np.zeros((2, frames)), 8_000), None, None)
        assert [track.level_db for track in told.tracks] == [None, None]
        assert told.skew_us is None
        assert told.dropouts == ()
    outside = summarise(Signal(np.ones((2, 100)), 8_000), 5.0, 9.0)
    assert outside.tracks[0].level_db is None
