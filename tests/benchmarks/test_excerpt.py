"""The stretch of a tape that is shown: where the trouble begins, with every peak, bits in the order of the tape."""

import numpy as np
from tapewright.benchmarks.excerpt import BITS, MOST_COLUMNS, drawn, excerpt, shown_bits
from tapewright.benchmarks.replay import Replay
from tapewright.contracts import registry
from tapewright.contracts.signal import Signal
from tapewright.files.programs import read_program


def replay(codec, channel, program=None):
    data = read_program("chime").data if program is None else program
    return Replay(registry.codec(codec), registry.receiver("sound"), registry.channel(channel), data, 1, 44_100)


def test_it_lies_where_the_trouble_begins():
    one = replay("plain-clocked", "dropouts:per_minute=20,length_ms=150,missing_share=1,missing_db=60/clip", b"noon")
    found = excerpt(one, 0)
    assert found.failed
    assert not found.drawing["at_random"]
    worn = found.drawing["worn"]
    assert len(worn["bits"]) == BITS
    first_bad = next(bit for bit in worn["bits"] if bit["state"] != "right")
    assert first_bad["bit"] == found.drawing["place"]
    end_ms = worn["from_ms"] + worn["step_ms"] * len(worn["left"])
    assert worn["from_ms"] < first_bad["time_ms"] < end_ms
    assert 2.9 < found.worn_clip.duration_s <= 3.0


def test_without_a_failure_a_place_is_drawn_and_stays_the_same():
    one = replay("plain-biphase", "wire")
    found, again = excerpt(one, 0), excerpt(one, 0)
    assert found.drawing == again.drawing
    assert found.drawing["at_random"]
    assert found.drawing["fresh"] == found.drawing["worn"]
    assert excerpt(one, 1).drawing["place"] != found.drawing["place"]


def test_no_peak_is_lost_in_the_columns():
    one = replay("plain-clocked", "wire", b"noon")
    once = one.fresh()
    samples = once.worn.samples.copy()
    followed = one.follow(once)
    spike = int(followed.times_s[6] * 44_100) + 17
    samples[0, spike] = 0.987
    told = drawn(Signal(samples, 44_100), followed, shown_bits(followed, 6))
    assert len(told["left"]) <= 2 * MOST_COLUMNS
    assert max(told["left"]) == 0.987
    assert max(told["right"]) < 0.95


def test_bits_stand_in_the_order_of_the_tape():
    """standard-300 sends the least significant bit of a character first (Kansas City standard, 1976, as common with
    asynchronous serial lines), so that within a byte the times run backwards.
    """
    one = replay("standard-300", "wire", b"noon at the tower")
    followed = one.follow(one.fresh())
    shown = shown_bits(followed, 60)
    assert 60 in shown
    assert np.all(np.diff(followed.times_s[shown]) > 0)
    assert not np.all(np.diff(shown) > 0)


def test_bits_of_one_moment_stand_beside_each_other():
    one = replay("dense-worn", "wire")
    found = excerpt(one, 0).drawing["worn"]
    times = [bit["time_ms"] for bit in found["bits"]]
    assert found["at_once"] == BITS
    assert len(set(times)) == BITS
    assert times == sorted(times)


def test_a_tape_of_which_nothing_was_heard_is_shown_from_its_start():
    found = excerpt(replay("plain-biphase", "level:gain_db=-100/hiss:place=replay,level_db=-20/clip"), 0)
    assert found.failed
    assert all(bit["heard"] is None and bit["time_ms"] is None for bit in found.drawing["worn"]["bits"])
    assert found.drawing["worn"]["from_ms"] == 0
