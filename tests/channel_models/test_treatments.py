"""A channel works in one buffer of its own: nobody can tell from the outside."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from tapewright.contracts import registry
from tapewright.contracts.channel_model import Treatment
from tapewright.contracts.signal import Signal
from tapewright.contracts.streams import substream

RATE_HZ = 44_100
NAMES = tuple(name for name in registry.installed("channel").names() if "-" not in name)


def one_by_one(channel, signal, rng):
    """The stages with the streams that the channel would give them, each on a copy."""
    root = tuple(int(word) for word in rng.integers(0, 2**32, size=4, dtype=np.uint64))
    seen = {}
    for stage in channel.stages:
        repeat = seen.get(stage.name, 0)
        signal = stage.degrade(signal, substream(root, stage.name, repeat))
        seen[stage.name] = repeat + 1
    return signal


@settings(max_examples=12)
@given(
    seed=st.integers(0, 2**32 - 1),
    name=st.sampled_from(
        ["good-played", "ordinary-worn", "portable-attic", "hiss/drift:noise_percent=0.1/hiss/hiss:place=replay"]
    ),
    frames=st.integers(0, 60_000),
)
def test_one_buffer_gives_what_many_would(seed, name, frames):
    channel = registry.channel(name)
    sound = Signal(np.random.default_rng(seed).uniform(-1, 1, (2, frames)), RATE_HZ)
    before = sound.samples.copy()
    whole = channel.degrade(sound, np.random.default_rng(seed))
    assert np.array_equal(sound.samples, before)
    assert whole == one_by_one(channel, sound, np.random.default_rng(seed))
    assert not whole.samples.flags.writeable
    assert not np.shares_memory(whole.samples, sound.samples) or frames == 0


def test_repeats_of_a_stage_draw_apart():
    # Null: two independent noises add in power, one added to itself is 3 dB above that; 100,000 frames, s.e. 0.02 dB.
    silence = Signal(np.zeros(100_000), RATE_HZ)
    once, twice = (
        registry.channel(spec).degrade(silence, np.random.default_rng(1)).samples for spec in ("hiss", "hiss/hiss")
    )
    assert abs(10 * np.log10(np.mean(twice**2) / np.mean(once**2)) - 3.01) < 0.1


def test_idle_stages_leave_the_signal_itself():
    sound = Signal(np.ones((2, 100)), RATE_HZ)
    channel = registry.channel("dropouts:per_minute=0/level/head_losses/azimuth/clip:ceiling=0")
    assert channel.degrade(sound, np.random.default_rng(0)) is sound


def test_what_is_idle_changes_nothing():
    for name in NAMES:
        for stage in registry.channel(name).stages:
            if isinstance(stage, Treatment):
                nothing = type(stage).nothing()
                assert nothing.idle
                assert Signal(np.ones(5), RATE_HZ) == nothing.degrade(
                    Signal(np.ones(5), RATE_HZ), np.random.default_rng(0)
                )
