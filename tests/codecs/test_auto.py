"""Which of the ready stacks a recording is in."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest
from numpy.typing import NDArray
from tapewright.codecs.auto import LEAST_BITS, identify, ready_codecs
from tapewright.contracts import registry
from tapewright.contracts.codec import Codec
from tapewright.contracts.signal import Signal
from tapewright.contracts.streams import stream
from tapewright.files.programs import read_program

READY = ("plain-clocked", "plain-biphase", "standard-300", "sturdy")
CHIME = read_program("chime").data
PART_BYTES = 40
SOUND = registry.receiver("sound")


def named(*signals: Signal) -> str | None:
    best, tried = identify(signals, SOUND)
    return None if best is None else tried[0].name


def recorded(name: str, program: bytes | None = None) -> Signal:
    """A recording of the demo program; of a part of it where a byte takes most of a second."""
    if program is None:
        program = CHIME[:PART_BYTES] if name == "plain-clocked" else CHIME
    return registry.codec(name).encode(program)


@pytest.mark.parametrize("name", READY)
def test_a_clean_recording_is_in_its_own_stack(name: str) -> None:
    best, tried = identify((recorded(name),), SOUND)
    assert tried[0].name == name
    assert best is not None
    assert best.codec == registry.codec(name)
    assert best.decoded.payload == CHIME[: PART_BYTES if name == "plain-clocked" else None]


@pytest.mark.parametrize("name", READY)
def test_a_tape_from_the_attic_is_told_too(name: str) -> None:
    worn = registry.channel("portable-attic").degrade(recorded(name), stream(2, 0, "channel"))
    assert named(worn) == name


@pytest.mark.parametrize("name", READY)
def test_half_a_recording_is_still_one_of_its_stack(name: str) -> None:
    whole = recorded(name)
    play = registry.codec(name).decode(whole).plays[0]
    assert play.start_s is not None
    assert play.end_s is not None
    frames = int((0.25 * play.start_s + 0.75 * play.end_s) * whole.sample_rate_hz)
    assert named(Signal(whole.samples[:, :frames], whole.sample_rate_hz)) == name


def test_of_two_stacks_over_one_line_code_the_redundancy_decides() -> None:
    _, tried = identify((recorded("sturdy"),), SOUND)
    told = {one.name: one for one in tried}
    assert told["sturdy"].told == "its check holds"
    if "plain-biphase" in told:  # which is tried before it
        assert told["plain-biphase"].standing == 0
        assert "its own redundancy does not agree" in told["plain-biphase"].told


# Null: no program is in the sound. Seeds 0 to 9, 30 sounds of 5 s; a claim needs 96 bits that are 80 % sure and in
# step. In 1,200 s of synthetic voice the most that any stack heard so was 40 bits.
def test_noise_and_sweeps_fit_nothing() -> None:
    rate_hz = 22_050
    place = np.arange(5 * rate_hz) / rate_hz
    for seed in range(10):
        rng = np.random.default_rng(seed)
        wander = np.cumsum(rng.standard_normal(place.size)) / 30
        for samples in (
            0.1 * rng.standard_normal((2, place.size)),
            _smooth(rng.standard_normal(place.size), 8),
            0.4 * np.sin(2 * np.pi * 1500 * place + wander),
        ):
            assert named(Signal(samples, rate_hz)) is None


def test_too_few_bits_without_a_check_are_told_as_such() -> None:
    short = recorded("standard-300", CHIME[: LEAST_BITS // 8 - 1])
    best, tried = identify((short,), SOUND)
    assert best is None
    assert next(one for one in tried if one.name == "standard-300").told.endswith("too few to tell")
    assert named(recorded("standard-300", CHIME[: LEAST_BITS // 8])) == "standard-300"
    assert named(recorded("plain-biphase", b"x")) == "plain-biphase"


def test_several_plays_are_judged_together() -> None:
    silence = Signal(np.zeros((2, 44_100)), 44_100)
    assert named(silence, recorded("plain-clocked")) == "plain-clocked"
    assert named(silence, silence) is None


def test_every_ready_stack_can_be_built() -> None:
    assert set(READY) <= set(ready_codecs())
    assert all(isinstance(codec, Codec) for codec in ready_codecs().values())


def _smooth(values: NDArray[np.float64], width: int) -> Sequence[float]:
    return np.convolve(values, np.full(width, 0.2 / width), "same")
