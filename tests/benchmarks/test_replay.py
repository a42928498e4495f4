"""A replay is the same tape as in the study, with an ear at the decoder."""

import numpy as np
from tapewright.benchmarks.records import records
from tapewright.benchmarks.replay import Replay, replay_of
from tapewright.benchmarks.study import Study
from tapewright.benchmarks.tally import Tally
from tapewright.benchmarks.trials import run
from tapewright.contracts import registry
from tapewright.contracts.signal import Signal
from tapewright.files.programs import read_program


def test_replays_sum_to_the_row_that_they_are_of(toys):
    study = Study(b"noon", "noon", ("toy-checked",), ("toy_coin",), ("toy_flips:rate=0.01,blank=0.2",), trials=30)
    (row,) = records(study, run(study))
    again = replay_of(row.as_json(), b"noon")
    assert sum((again.play(trial).tally for trial in range(30)), Tally()) == row.tally
    assert 0 < row.tally.right < 30


def test_what_the_decoder_read_is_overheard():
    replay = Replay(*made("sturdy"), read_program("chime").data, 1, 44_100)
    found = replay.follow(replay.fresh())
    assert not found.bad.any()
    assert np.all(np.diff(found.times_s) > 0)


def test_of_exchanged_tracks_the_reading_that_was_kept_is_overheard():
    codec, receiver, channel = made("plain-clocked")
    replay = Replay(codec, receiver, channel, b"noon", 1, 44_100)
    exchanged = Signal(replay.tape.samples[::-1], 44_100)
    object.__setattr__(replay, "tape", exchanged)
    once = replay.fresh()
    assert once.tally.right
    assert not replay.follow(once).bad.any()


def test_of_hardware_that_reads_by_itself_memory_is_read():
    replay = Replay(*made("plain-clocked", "relays"), b"noon", 1, 44_100)
    once = replay.play(0)
    assert once.tally.right
    followed = replay.follow(once)
    assert not followed.bad.any()
    assert np.all(np.diff(followed.times_s) > 0)


def made(codec, receiver="sound", channel="wire"):
    return registry.codec(codec), registry.receiver(receiver), registry.channel(channel)
