"""What is read off the soft bits of one play."""

from __future__ import annotations

import numpy as np
import pytest
from tapewright.contracts import registry
from tapewright.contracts.play import Play, heard_play
from tapewright.contracts.signal import Signal
from tapewright.contracts.soft_bits import SoftBits

READY = ("plain-clocked", "plain-biphase", "standard-300", "sturdy")
PROGRAM = np.random.default_rng(5).bytes(24)


@pytest.mark.parametrize("name", READY)
def test_a_clean_play_is_sure_steady_and_at_nominal_speed(name: str) -> None:
    codec = registry.codec(name)
    signal = codec.encode(PROGRAM)
    (play,) = codec.decode(signal).plays
    assert play.evidence > 0.99
    assert play.speed_percent == pytest.approx(0.0, abs=0.05)
    assert play.gaps == ()
    assert play.start_s is not None
    assert play.end_s is not None
    assert 0 < play.start_s < play.end_s < signal.duration_s
    assert (play.end_s - play.start_s) / signal.duration_s > 0.1


@pytest.mark.parametrize("name", READY)
def test_another_sample_rate_than_it_says_reads_as_speed(name: str) -> None:
    # A file that says 44,100 Hz and holds 46,746 plays 6 % slow: resampled by nobody, exact by arithmetic.
    codec = registry.codec(name)
    slow = Signal(codec.encode(PROGRAM, 46_746).samples, 44_100)
    (play,) = codec.decode(slow).plays
    assert play.speed_percent == pytest.approx(100 * (44_100 / 46_746 - 1), abs=0.05)
    assert play.evidence > 0.99


def test_bytes_of_no_usual_length_have_no_speed() -> None:
    """Four bytes 1 and 2 s apart in turn: the median, 1.5 s, is like none of them."""
    times_s = np.repeat(np.cumsum([0.0, 1.0, 2.0, 1.0, 2.0]), 8)
    play = heard_play(registry.codec("plain-clocked").line_code, SoftBits(np.full(40, 9.0), times_s))
    assert (play.speed_percent, play.steady) == (None, 0.0)


def test_stretches_that_are_not_known_are_gaps() -> None:
    code = registry.codec("plain-biphase").line_code
    values = np.full(160, 9.0)
    values[[20, 40, 41, 42, 43]] = 0.0
    (gap,) = heard_play(code, SoftBits(values, np.arange(160) / 1200)).gaps
    assert gap == (pytest.approx(40 / 1200), pytest.approx(4 / 1200))


def test_bits_at_no_pace_are_no_evidence() -> None:
    code = registry.codec("standard-300").line_code
    rng = np.random.default_rng(2)
    times = np.sort(rng.uniform(0, 10, 800))
    assert heard_play(code, SoftBits(np.full(800, 9.0), times)).evidence < 0.3


def test_nothing_heard_is_a_play_of_nothing() -> None:
    code = registry.codec("plain-biphase").line_code
    assert heard_play(code, SoftBits([])) == Play()
    assert registry.codec("plain-biphase").decode(Signal(np.zeros((2, 0)), 8000)).plays == (Play(),)
    assert heard_play(code, SoftBits([5.0], [1.0])).evidence == 0.0


def test_events_of_several_plays_name_theirs() -> None:
    codec = registry.codec("plain-biphase")
    clean = codec.encode(PROGRAM)
    told = codec.decode(clean, Signal(np.zeros((2, 44_100)), 44_100))
    assert told.intact
    assert any(event.what.startswith("play 1: signal starts") for event in told.events)
    assert any(event.what.startswith("play 2: no biphase signal") for event in told.events)
