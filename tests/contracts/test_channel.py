"""The channel: its stages one after another, each with its own stream, whatever memory they share on the way."""

from collections import Counter
from dataclasses import dataclass

import numpy as np
import pytest
import tapewright
from tapewright.contracts.channel_model import Channel, ChannelModel
from tapewright.contracts.conformance import probes
from tapewright.contracts.parameters import parameter
from tapewright.contracts.signal import Signal
from tapewright.contracts.streams import stream, substream


@dataclass(frozen=True)
class Wobble(ChannelModel):
    """Keeps the length."""

    name = "wobble"
    summary = "A gain drawn once a tape."
    place = "tape"

    strength: float = parameter(0.5, "How much.", low=0, high=1)

    def degrade(self, signal, rng):
        return Signal(signal.samples * np.float32(1 - self.strength * rng.random()), signal.sample_rate_hz)

    @classmethod
    def nothing(cls):
        return cls(0.0)


@dataclass(frozen=True)
class Late(ChannelModel):
    """Changes the length."""

    name = "late"
    summary = "Silence in front."
    place = "tape"

    def degrade(self, signal, rng):
        lead = np.zeros((2, int(rng.integers(1, 50))), np.float32)
        return Signal(np.hstack([lead, signal.samples]), signal.sample_rate_hz)

    @classmethod
    def nothing(cls):
        return cls()


def one_after_another(channel, signal, rng):
    """The stages by themselves, each with the stream of its name and repeat."""
    root = tuple(int(word) for word in rng.integers(0, 2**32, size=4, dtype=np.uint64))
    seen = Counter()
    for stage in channel.stages:
        signal = stage.degrade(signal, substream(root, stage.name, seen[stage.name]))
        seen[stage.name] += 1
    return signal


@pytest.mark.parametrize(
    "stages",
    [
        (),
        (Wobble(),),
        (Wobble(), Wobble()),
        (Wobble(), Late(), Wobble()),
        (Late(), Wobble(0.0), Wobble()),
        (Wobble(0.0),),
        (Late(), Late()),
    ],
)
@pytest.mark.parametrize("frames", [0, 1, 5_000])
def test_a_channel_is_its_stages_one_after_another(stages, frames):
    signal = Signal(probes.noise(1.0, 0.5, 1).samples[:, :frames], 44_100)
    before = probes.fingerprint(signal)
    channel = Channel(stages)
    sent = channel.degrade(signal, stream(3, 1, "channel"))
    assert sent == one_after_another(channel, signal, stream(3, 1, "channel"))
    assert probes.fingerprint(signal) == before
    assert not sent.samples.flags.writeable
    assert not signal.samples.flags.writeable


@pytest.mark.parametrize("grade", ["new", "played", "worn", "attic"])
def test_a_grade_is_its_stages_one_after_another(grade):
    channel, sound = tapewright.channel(grade), probes.chord(1.0)
    sent = channel.degrade(sound, stream(4, 2, "channel"))
    assert sent == one_after_another(channel, sound, stream(4, 2, "channel"))


def test_the_null_channel_returns_the_same_signal():
    signal = probes.chord(0.1)
    assert Channel(()).degrade(signal, stream(1, 1, "channel")) is signal
