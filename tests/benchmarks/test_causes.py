"""Effects taken away by their names: everything else stays as it was drawn."""

import numpy as np
import pytest
from tapewright.benchmarks.causes import OF_STAGES, causes, without
from tapewright.contracts import registry
from tapewright.contracts.channel_model import Channel
from tapewright.contracts.streams import stream


@pytest.mark.parametrize("grade", ["new", "worn", "attic", "portable-attic"])
def test_every_stage_of_a_grade_belongs_to_one_cause(grade):
    channel = registry.channel(grade)
    found = causes(channel)
    assert list(found) == list(OF_STAGES)
    named = [name for names in found.values() for name in names]
    assert len(named) == len(set(named))
    idle = {stage.name for stage in channel.stages if stage.arguments() == type(stage).nothing().arguments()}
    assert {stage.name for stage in channel.stages} == set(named) | idle


def test_every_installed_model_is_known():
    """A new model of ours must be given a cause, or stand for one of its own on purpose."""
    ours = {name for name in registry.installed("channel").names() if "-" not in name}
    models = {name for name in ours if isinstance(registry.installed("channel").load(name), type)}
    assert models == {name for names in OF_STAGES.values() for name in names}


def test_a_stranger_is_a_cause_of_its_own(toys):
    channel = registry.channel("toy_flips:rate=0.1/hiss:level_db=-40")
    assert causes(channel) == {"noise": ("hiss",), "toy_flips": ("toy_flips",)}
    assert causes(registry.channel("toy_flips")) == {}


@pytest.mark.parametrize("left_out", ["dropouts", "hum", "contact"])
def test_the_rest_draws_the_same(left_out):
    channel = registry.channel("attic")
    tape = registry.codec("plain-biphase").encode(b"noon")
    silenced = Channel(tuple(type(one).nothing() if one.name == left_out else one for one in channel.stages))
    without_it = without(channel, (left_out,)).degrade(tape, stream(1, 0, "channel"))
    assert without_it == silenced.degrade(tape, stream(1, 0, "channel"))
    assert not np.array_equal(without_it.samples, channel.degrade(tape, stream(1, 0, "channel")).samples)
