"""The dense ready stacks end to end on the tapes they are made for, with short programs."""

import numpy as np
import pytest
import tapewright
from tapewright.contracts.registry import channel
from tapewright.contracts.signal import Signal
from tapewright.contracts.streams import stream

PAIRS = [
    ("dense-played", "ordinary-played"),
    ("dense-worn", "ordinary-worn"),
    ("dense-attic", "ordinary-attic"),
    ("dense-portable", "portable-worn"),
]


@pytest.mark.parametrize(("name", "grade"), PAIRS)
@pytest.mark.parametrize("trial", range(2))
def test_loads_from_the_tape_it_is_made_for(name, grade, trial):
    """Seed 5. Loads that fail are below 1 in 100, so a false alarm of these fixed seeds was excluded by running it."""
    codec = tapewright.codec(name)
    program = np.random.default_rng(trial).bytes(2_000)
    decoded = codec.decode(channel(grade).degrade(codec.encode(program), stream(5, trial, "channel")))
    assert decoded.payload == program
    assert decoded.intact is True


def test_the_rates_are_those_on_the_label():
    """Useful bytes a second of a program of 16 KiB, leader of 1.0 s and tail of 0.25 s included."""
    rates = {name: 16_384 / tapewright.codec(name).duration_s(16_384) for name, _ in PAIRS}
    assert rates == {
        "dense-played": pytest.approx(5_548, abs=1),
        "dense-worn": pytest.approx(4_321, abs=1),
        "dense-attic": pytest.approx(2_357, abs=1),
        "dense-portable": pytest.approx(1_348, abs=1),
    }


def test_a_hole_of_60_ms_anywhere_costs_nothing():
    """Both tracks silent for 60 ms, three or four symbols, in the leader, the headers or the data of 4 KiB.

    That is a tenth of the 0.64 s of data; what a load bears grows with its length.
    """
    codec = tapewright.codec("dense-worn")
    program = np.random.default_rng(7).bytes(4_096)
    tape = codec.encode(program)
    for start_s in np.arange(0.5, tape.duration_s - 0.35, 0.073):
        samples = tape.samples.copy()
        samples[:, round(start_s * 44_100) :][:, : round(0.06 * 44_100)] = 0
        decoded = codec.decode(Signal(samples, 44_100))
        assert decoded.payload == program, f"{start_s:.3f} s"


def test_a_tape_among_noise_is_found():
    codec = tapewright.codec("dense-worn")
    program = np.random.default_rng(8).bytes(500)
    tape = codec.encode(program).samples
    rng = np.random.default_rng(9)
    samples = np.concatenate((rng.normal(0, 0.1, (2, 300_000)), tape, rng.normal(0, 0.1, (2, 200_000))), axis=1)
    assert codec.decode(Signal(samples, 44_100)).payload == program


def test_two_plays_together_give_what_neither_gives_alone():
    """Noise of which one play at a time is too much (seed 10)."""
    codec = tapewright.codec("dense-worn")
    program = np.random.default_rng(10).bytes(1_000)
    tape = codec.encode(program)
    rng = np.random.default_rng(10)
    plays = [Signal(tape.samples + rng.normal(0, 0.1, tape.samples.shape), 44_100) for _ in range(3)]
    assert all(codec.decode(play).intact is False for play in plays)
    assert codec.decode(*plays).payload == program
