"""The sound input: tracks that are exchanged."""

from __future__ import annotations

import numpy as np
import pytest
from tapewright.contracts import registry
from tapewright.contracts.decoded import Decoded
from tapewright.contracts.signal import Signal

PROGRAM = np.random.default_rng(6).bytes(20)


def received(spec: str, signal: Signal) -> Decoded:
    return registry.receiver("sound").receive(registry.codec(spec), (signal,), np.random.default_rng(0))


def exchanged(signal: Signal) -> Signal:
    return Signal(signal.samples[::-1], signal.sample_rate_hz)


@pytest.mark.parametrize(
    "spec", ["plain-clocked", "clocked:clock_track=right", "contents/biphase:tracks=left", "fsk:tracks=right"]
)
def test_exchanged_tracks_are_read_and_told(spec: str) -> None:
    signal = registry.codec(spec).encode(PROGRAM)
    plain = received(spec, signal)
    assert plain.payload == PROGRAM
    assert not any("exchanged" in event.what for event in plain.events)
    crossed = received(spec, exchanged(signal))
    assert crossed.payload == PROGRAM
    assert crossed.events[0].what == "left and right are exchanged: read so"


def test_a_format_that_lives_with_it_says_nothing() -> None:
    signal = exchanged(registry.codec("sturdy").encode(PROGRAM))
    told = received("sturdy", signal)
    assert told.payload == PROGRAM
    assert not any("exchanged" in event.what for event in told.events)


def test_noise_is_not_called_exchanged() -> None:
    noise = Signal(np.random.default_rng(3).normal(0, 0.1, (2, 200_000)), 44_100)
    told = received("plain-clocked", noise)
    assert told.payload == b""
    assert not any("exchanged" in event.what for event in told.events)
