"""Pictures of sweeps and of plays: drawn, the same from the same, with whatever names."""

import numpy as np
import pytest
from tapewright.benchmarks.shape import shape
from tapewright.contracts import registry
from tapewright.contracts.errors import TapewrightError
from tapewright.contracts.signal import Signal
from tapewright.contracts.streams import stream
from tapewright.reports.shape_picture import save_shape, shape_figure
from tapewright.reports.sweep_picture import save_sweeps, sweep_figure

NAME = "<b>$\\frac{a}{</b>"


def swept(knobs, codecs=("a", "b")):
    points = [
        {"factor": factor, "value": 3.0 * factor, "trials": 10, "right": 8, "rate": 0.8, "low": 0.44, "high": 0.97}
        for factor in (0.5, 1.0, 2.0)
    ]
    rows = [{"codec": codec, "receiver": "sound", "channel": NAME} for codec in codecs]
    curves = [{"knob": knob, "parameter": "x", "unit": "dB", "points": points} for knob in knobs]
    return rows, [{"sweeps": curves} for _ in rows]


def test_a_panel_a_knob_and_a_curve_a_candidate():
    rows, evidence = swept([NAME, "hiss", "azimuth", "speed", "skew"], ("a", "b", NAME))
    figure = sweep_figure([*rows, {"codec": "unswept", "receiver": "sound"}], [*evidence, {}])
    panels = [axes for axes in figure.axes if axes.axison]
    assert [axes.get_title() for axes in panels] == [NAME, "hiss", "azimuth", "speed", "skew"]
    assert all(len(axes.containers) == 3 for axes in panels)
    middles = sorted(line.get_xdata()[1] for line in (box.lines[0] for box in panels[0].containers))
    assert middles[1] == pytest.approx(1.0)
    assert middles[0] < middles[1] < middles[2]


def test_each_channel_has_panels_of_its_own():
    rows, evidence = swept(["hiss", "skew"])
    others = [{**row, "channel": "attic"} for row in rows]
    figure = sweep_figure([*rows, *others], [*evidence, *evidence])
    panels = [axes for axes in figure.axes if axes.axison]
    assert [axes.get_title() for axes in panels[:2]] == [f"hiss\n{NAME}", f"skew\n{NAME}"]
    assert [axes.get_title() for axes in panels[2:]] == ["hiss\nattic", "skew\nattic"]
    assert all(len(axes.containers) == 2 for axes in panels)


def test_nothing_swept_is_said():
    with pytest.raises(TapewrightError, match="no knob of a channel was turned"):
        sweep_figure([{"codec": "a"}], [{}])


@pytest.mark.parametrize("kind", ["png", "svg"])
def test_the_same_records_give_the_same_files(kind, tmp_path):
    rows, evidence = swept(["hiss"])
    codec = registry.codec("plain-biphase")
    drawn = shape(codec, registry.receiver("sound"), codec.encode(b"noon"), stream(1, 0, "receiver"), b"noon")
    for path in (tmp_path / "one", tmp_path / "two"):
        path.mkdir()
        save_sweeps(rows, evidence, path / "sweeps", kind)
        save_shape(drawn, path / "shape", kind)
    for name in ("sweeps", "shape"):
        assert (tmp_path / "one" / name).stat().st_size > 1000
        if kind == "png":
            assert (tmp_path / "one" / name).read_bytes() == (tmp_path / "two" / name).read_bytes()


def test_bits_heard_wrong_stand_out_and_their_sureness_is_counted():
    codec = registry.codec("plain-biphase")
    payload = b"at noon the bell is rung"
    tape = codec.encode(payload)
    samples = tape.samples.copy()
    gone = slice(int(1.10 * 44_100), int(1.115 * 44_100))
    samples[:, gone] = np.random.default_rng(1).normal(0, 0.3, (2, gone.stop - gone.start))
    told = shape(codec, registry.receiver("sound"), Signal(samples, 44_100), stream(1, 0, "receiver"), payload)
    assert told["trouble"]
    assert sum(told["sure"]["wrong"]) > 0
    assert sum(told["sure"]["wrong"]) + sum(told["sure"]["right"]) == codec.coded_bits(len(payload))
    figure = shape_figure(told)
    bold = [text.get_text() for text in figure.axes[0].texts if text.get_fontweight() == "bold"]
    assert bold
    quietest, loudest = np.flatnonzero(told["level"]["left"])[[0, -1]]
    assert told["level"]["edges_db"][quietest] > -20
    assert told["level"]["edges_db"][loudest] <= 0


def test_silence_has_a_shape_too():
    codec = registry.codec("sturdy")
    silence = Signal(np.zeros((2, 5000)), 44_100)
    for expected in (None, b"noon"):
        told = shape(codec, registry.receiver("sound"), silence, stream(1, 0, "receiver"), expected)
        assert sum(told["level"]["left"]) == 0
        shape_figure(told)
