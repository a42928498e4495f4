"""Failures taken apart: a loss that was made by one effect is put down to that effect."""

import pytest
from tapewright.benchmarks.anatomy import anatomy
from tapewright.benchmarks.replay import Replay
from tapewright.contracts import registry
from tapewright.files.programs import read_program

MILD = "hiss:level_db=-50/clip"


def replay(channel, codec="plain-biphase", receiver="sound", program=None):
    data = read_program("chime").data if program is None else program
    return Replay(registry.codec(codec), registry.receiver(receiver), registry.channel(channel), data, 1, 44_100)


@pytest.mark.parametrize(
    ("codec", "channel", "cause"),
    [
        ("plain-biphase", f"dropouts:per_minute=600,length_ms=30,missing_share=1,missing_db=60/{MILD}", "dropouts"),
        ("plain-biphase", f"drift:speed_percent=19.5/{MILD}", "speed"),
        ("dense-worn", "drift:weighted_percent=0.1/hiss:level_db=-10/clip", "noise"),
        ("plain-biphase", "drift:weighted_percent=0.1/hiss:level_db=-50/band:high_hz=300,order=4", "level and treble"),
    ],
)
def test_a_loss_by_one_effect_is_put_down_to_it(codec, channel, cause):
    found = anatomy(replay(channel, codec), trials=3, failures=3)
    assert [tape.repaired_by for tape in found.tapes] == [(cause,)] * 3
    told = found.as_json()
    assert {"cause": cause, "alone": 3, "shared": 0} in told["causes"]
    assert sum(one["alone"] + one["shared"] for one in told["causes"]) == 3
    assert told["by_none"] == 0


def test_two_effects_that_are_each_fatal_are_repaired_by_none():
    both = "drift:speed_percent=19.5/hiss:level_db=-10/clip"
    found = anatomy(replay(both, "dense-worn"), trials=2, failures=2)
    assert found.as_json()["by_none"] == 2


def test_what_hardware_loses_is_put_down_to_the_hardware(toys):
    """The coin hears nothing on one play in two, whatever the tape; the codec's own decoder hears every one."""
    found = anatomy(replay("toy_flips:rate=0.000001", "toy-checked", "toy_coin", b"noon"), trials=20, failures=4)
    assert len(found.tapes) == 4
    assert all(tape.repaired_by == ("toy_coin",) for tape in found.tapes)
    assert found.tapes[0].sign == "not found"


def test_the_search_is_bounded_and_ends_when_all_are_found():
    found = anatomy(replay(f"drift:speed_percent=19.5/{MILD}"), trials=50, failures=50, most_tapes=2)
    assert (found.sought, len(found.tapes)) == (2, 2)
    assert anatomy(replay("wire"), trials=50, failures=0).sought == 0
    none = anatomy(replay("wire"), trials=3, failures=1)
    assert (none.sought, none.tapes) == (3, ())


def test_signs_say_what_the_bits_show():
    dropped = anatomy(replay(f"dropouts:per_minute=600,length_ms=30,missing_share=1,missing_db=60/{MILD}"), 1, 1)
    (tape,) = dropped.tapes
    assert tape.sign in ("out of step", "bits not heard", "bits wrong")
    assert tape.first_s is not None
    assert 0.9 < tape.first_s < 2.3
    assert tape.bits == 8 * 128 + 72
    assert not any("starts" in told for told in tape.told)  # noticed on a fresh tape too


def test_every_tape_is_counted():
    played = []
    anatomy(replay(f"drift:speed_percent=19.5/{MILD}"), 1, 1, played=lambda: played.append(1))
    assert len(played) == 1 + 3  # once as it was, once without each of speed, noise, and level
