"""Knobs of a channel: which there are, how far they turn, and what turning them does."""

import pytest
from tapewright.benchmarks.knob import FACTORS, counted, curve, knobs
from tapewright.benchmarks.replay import Replay
from tapewright.benchmarks.statistics import clopper_pearson
from tapewright.contracts import registry


def test_a_grade_offers_its_main_figures():
    found = knobs(registry.channel("worn"))
    assert [(knob.name, knob.value) for knob in found] == [
        ("speed error", 1.5),
        ("wow and flutter", 0.2772),
        ("modulation noise", -38.0),
        ("dropouts a minute", 6.0),
        ("head-to-tape spacing", 0.7),
        ("azimuth", 8.0),
        ("crosstalk", 30.0),
        ("hiss", -43.0),
    ]


@pytest.mark.parametrize(
    ("name", "half", "twice"),
    [
        ("dropouts a minute", 3.0, 12.0),
        ("hiss", -49.0206, -36.9794),  # 20 log10 2 = 6.0206 dB
        ("crosstalk", 36.0206, 23.9794),  # more separation is better
    ],
)
def test_a_knob_turns_from_half_to_twice_as_bad(name, half, twice):
    channel = registry.channel("worn")
    (knob,) = (one for one in knobs(channel) if one.name == name)
    for factor, asked in ((0.5, half), (2.0, twice)):
        turned, value = knob.turned(channel, factor)
        assert value == pytest.approx(asked, abs=1e-4)
        changed = [
            (old.name, new.arguments()[knob.parameter])
            for old, new in zip(channel.stages, turned.stages, strict=True)
            if old != new
        ]
        assert changed == [(channel.stages[knob.stage].name, value)]
    assert knob.turned(channel, 1.0)[0] == channel


def test_a_knob_stops_where_its_parameter_does():
    channel = registry.channel("drift:speed_percent_limit=8")
    (knob,) = knobs(channel)
    assert knob.turned(channel, 2.0)[1] == 10.0


def test_a_stranger_offers_its_first_figure(toys):
    channel = registry.channel("toy_flips:rate=0.25,blank=0.5")
    (knob,) = knobs(channel)
    assert (knob.name, knob.value) == ("toy_flips: rate", 0.25)
    assert knobs(registry.channel("toy_flips")) == ()


def test_a_curve_tells_what_became_of_the_same_tapes(toys):
    channel = registry.channel("toy_flips:rate=0.02")
    replay = Replay(registry.codec("toy-checked"), registry.receiver("sound"), channel, b"noon", 1, 44_100)
    (knob,) = knobs(channel)
    unturned = counted(replay, channel, range(40))
    told = curve(replay, knob, 40, unturned)
    rights = [point["right"] for point in told["points"]]
    assert [point["factor"] for point in told["points"]] == list(FACTORS)
    assert rights[1] == unturned.right
    assert rights[0] > rights[1] > rights[2]  # the same random numbers: fewer flips are a part of more
    for point in told["points"]:
        assert (point["low"], point["high"]) == clopper_pearson(point["right"], 40)
