"""The picture of a measurement, and its lines of text: what is drawn is what the records say."""

from __future__ import annotations

import io
from itertools import combinations
from pathlib import Path

import pytest
from tapewright.reports.measurement_picture import measurement_figure, save_measurement
from tapewright.reports.measurement_text import lines

RECORD = {
    "profile": {"source": "deck $x$"},
    "figures": {
        "flutter_weighted_percent": {"value": 0.123, "low": 0.118, "high": 0.128, "method": ""},
        "skew_us": {"value": -16.04, "low": -16.2, "high": -15.9, "method": ""},
        "dropouts_left_per_minute": {"value": 4.6, "low": 2.1, "high": 8.8, "method": ""},
    },
    "missing": {"hum_left_db": "no line stands out"},
    "curves": {
        f"response_{track}_db": {
            "at": "frequency_hz",
            "places": [40.0, 315.0, 10_000.0],
            "values": [-3.0, 0.0, level],
            "lows": [-3.5, 0.0, level - 1],
            "highs": [-2.5, 0.0, level + 1],
            "method": "",
        }
        for track, level in (("left", -5.0), ("right", -7.0))
    },
    "histograms": {},
    "flutter_lines": [{"frequency_hz": 6.9, "peak_percent": 0.1, "weighted_share": 0.45, "cause": "capstan"}],
}
TRACES = {
    "flutter": [{"times_s": [1.0, 2.0, 3.0], "percent": [0.1, -0.2, 0.05]}],
    "spectrum": {"hz": [1.0, 6.9, 10.0], "percent": [0.01, 0.1, 0.005]},
    "dropouts": [[{"start_s": 20.0, "length_s": 0.02, "depth_db": 12.0}], []],
    "tracks": ["left", "right"],
    "listened": [[10.0, 60.0]],
    "duration_s": 70.0,
}
NOTHING = {"flutter": [], "spectrum": None, "dropouts": [], "tracks": [], "listened": [], "duration_s": 5.0}


def test_the_panels_show_the_records() -> None:
    flutter, spectrum, response, dropouts = measurement_figure(RECORD, TRACES).axes
    assert list(flutter.lines[0].get_ydata()) == [0.1, -0.2, 0.05]
    assert {line.get_ydata()[0] for line in flutter.lines[1:]} == {0.123, -0.123}
    assert list(spectrum.lines[0].get_xdata()) == [1.0, 6.9, 10.0]
    assert any("capstan" in text.get_text() for text in spectrum.texts)
    assert [list(line.lines[0].get_ydata()) for line in response.containers] == [[-3.0, 0.0, -5.0], [-3.0, 0.0, -7.0]]
    assert dropouts.collections[0].get_offsets().tolist() == [[20.0, 12.0]]
    assert [text.get_text() for text in dropouts.get_legend().get_texts()] == ["left: 1", "right: 0"]


@pytest.mark.parametrize("lines_hz", [(143.2, 71.6, 118.0, 199.0), (0.5, 0.7, 6.9, 8.1)])
def test_what_is_said_of_the_lines_does_not_overlap_and_is_not_cut(lines_hz: tuple[float, ...]) -> None:
    told = {**RECORD, "flutter_lines": [{"frequency_hz": hz, "cause": "motor, belt or bearing"} for hz in lines_hz]}
    grid = [0.1 * place for place in range(1, 2001)]
    height = [1e-2 if any(abs(hz - line) < 0.06 for line in lines_hz) else 1e-4 for hz in grid]
    figure = measurement_figure(told, {**TRACES, "spectrum": {"hz": grid, "percent": height}})
    figure.draw_without_rendering()
    axes = figure.axes[1]
    boxes = [text.get_window_extent() for text in axes.texts]
    assert len(boxes) == len(lines_hz)
    assert not [pair for pair in combinations(boxes, 2) if pair[0].overlaps(pair[1])]
    frame = axes.get_window_extent()
    assert all(box.y1 < frame.y1 and box.x1 < frame.x1 + 5 for box in boxes)


def test_tracks_differ_in_more_than_colour() -> None:
    _, _, response, _ = measurement_figure(RECORD, TRACES).axes
    left, right = (container.lines[0] for container in response.containers)
    assert left.get_marker() != right.get_marker()
    assert left.get_linestyle() != right.get_linestyle()


def test_a_panel_without_data_says_why() -> None:
    record = {**RECORD, "figures": {}, "curves": {}, "flutter_lines": []}
    reasons = {
        "flutter_weighted_percent": "there is no steady tone",
        "response_left_db": "no test recording",
        "dropouts_left_per_minute": "there is no carrier",
    }
    flutter, spectrum, response, dropouts = measurement_figure({**record, "missing": reasons}, NOTHING).axes
    for axes, words in (
        (flutter, "no steady tone"),
        (spectrum, "no steady tone"),
        (response, "no test recording"),
        (dropouts, "no carrier"),
    ):
        (text,) = axes.texts
        assert words in " ".join(text.get_text().split())


@pytest.mark.parametrize("kind", ["png", "svg"])
def test_the_same_records_give_the_same_file(kind: str, tmp_path: Path) -> None:
    files = []
    for name in ("one", "other"):
        path = tmp_path / f"{name}.{kind}"
        save_measurement(RECORD, TRACES, path, kind)
        files.append(path.read_bytes())
    if kind == "png":
        assert files[0] == files[1]
    assert all(len(one) > 5000 for one in files)


def test_lines_give_figure_unit_and_interval() -> None:
    told = list(lines(RECORD))
    assert told[0].split() == ["flutter", "weighted", "0.123", "%", "0.118", "to", "0.128"]
    assert told[1].split() == ["skew", "-16.04", "us", "-16.20", "to", "-15.90"]
    assert told[2].split() == ["dropouts", "left", "4.6", "a", "minute", "2.1", "to", "8.8"]
    assert told[3].startswith("response ")
    assert " Hz +" in told[4] or " Hz -" in told[4]
    (line,) = [one for one in told if "6.90 Hz" in one]
    assert "capstan" in line
    assert told[-2:] == ["not measured, because no line stands out:", "  hum left"]
    assert io.StringIO("\n".join(told)).readlines()
