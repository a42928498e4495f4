"""Which bytes differ, and what was noticed there."""

from __future__ import annotations

from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st
from tapewright.contracts.decoded import Decoded, Event
from tapewright.reports.differences import NEIGHBOURHOOD_S, differences


@given(st.binary(max_size=40), st.binary(max_size=40))
def test_the_runs_are_exactly_the_positions_that_differ(heard: bytes, expected: bytes) -> None:
    runs = differences(Decoded(heard, None), expected)
    places = [place for run in runs for place in range(run.start, run.start + max(len(run.expected), len(run.heard)))]
    longest = max(len(heard), len(expected))
    assert places == [i for i in range(longest) if heard[i : i + 1] != expected[i : i + 1]]
    for run in runs:
        assert run.expected == expected[run.start : run.start + len(run.expected)]
        assert run.heard == heard[run.start : run.start + len(run.heard)]
    for one, next_one in pairwise(runs):
        assert one.start + max(len(one.expected), len(one.heard)) < next_one.start


def test_events_near_the_place_are_told_and_others_not() -> None:
    near, far, nowhere = Event("dropout", 1.0 + NEIGHBOURHOOD_S), Event("speed", 9.0), Event("crc")
    decoded = Decoded(b"abXXe", None, (3,), (near, far, nowhere), (0.8, 0.9, 0.95, 1.0, 1.1))
    (run,) = differences(decoded, b"abcde")
    assert (run.start, run.expected, run.heard, run.lost) == (2, b"cd", b"XX", 1)
    assert run.time_s == (0.95, 1.0)
    assert run.events == (near,)
    assert str(run) == ("bytes 0002 to 0003 at 0.950 s: expected 63 64, heard 58 58, 1 known lost; 1.250 s dropout")
    assert run.to_json() == {
        "start": 2,
        "expected": "6364",
        "heard": "5858",
        "lost": 1,
        "time_s": [0.95, 1.0],
        "events": [{"what": "dropout", "time_s": 1.25}],
    }


def test_a_missing_end_and_a_surplus_end_are_runs() -> None:
    (missing,) = differences(Decoded(b"ab", None), b"abc")
    assert str(missing) == "byte 0002: expected 63, heard nothing"
    (surplus,) = differences(Decoded(b"abcd", None), b"ab")
    assert str(surplus) == "bytes 0002 to 0003: expected nothing, heard 63 64"


def test_long_runs_and_many_events_are_shortened() -> None:
    events = tuple(Event(f"event {i}", 0.0) for i in range(5))
    (run,) = differences(Decoded(bytes(20), None, (), events, (0.0,) * 20), b"\x01" * 20)
    told = str(run)
    assert "expected 01 01 01 01 01 01 01 01 ..., heard 00 00 00 00 00 00 00 00 ..." in told
    assert told.endswith("; 0.000 s event 2; and 2 more")
