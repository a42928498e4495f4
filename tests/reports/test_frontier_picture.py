"""The frontier as a picture: what is drawn is what the records say."""

import io
from itertools import pairwise
from pathlib import Path

import pytest
from tapewright.contracts.errors import TapewrightError, UsageError
from tapewright.reports.frontier_picture import frontier_figure, picture_format, save_frontier


def row(codec, channel, speed, rate, low, high, *, on_frontier=False, trials=40, receiver="sound"):
    estimate = {"rate": rate, "low": low, "high": high, "method": "as the test says"}
    return {
        "codec": codec,
        "receiver": receiver,
        "channel": channel,
        "useful_bytes_per_s": speed,
        "trials": trials,
        "residual_byte_error_rate": estimate if trials else None,
        "on_frontier": on_frontier,
    }


ROWS = [
    row("slow", "new", 1.3, 0.0, 0.0, 0.088),
    row("quick", "new", 58.0, 0.0, 0.0, 0.088, on_frontier=True),
    row("slow", "worn", 1.3, 0.004, 0.001, 0.02, on_frontier=True),
    row("quick", "worn", 58.0, 0.03, 0.01, 0.06, on_frontier=True),
    row("deaf", "worn", 5.0, 0.0, 0.0, 0.0, trials=0),
]


def test_every_played_row_is_a_point_with_its_interval_in_the_panel_of_its_channel() -> None:
    figure = frontier_figure(ROWS)
    panels = {axes.get_title(): axes for axes in figure.axes}
    assert list(panels) == ["new", "worn"]
    drawn = {}
    for bar in panels["worn"].containers:
        (x,), (y,) = bar.lines[0].get_data()
        (segment,) = bar.lines[2][0].get_segments()
        drawn[float(x)] = (float(y), float(segment[0][1]), float(segment[1][1]))
    assert drawn == {1.3: pytest.approx((0.004, 0.001, 0.02)), 58.0: pytest.approx((0.03, 0.01, 0.06))}


def test_a_rate_of_which_nothing_was_seen_stands_on_its_own_line_below_all_others() -> None:
    (axes, _) = frontier_figure(ROWS).axes
    heights = {float(bar.lines[0].get_ydata()[0]) for bar in axes.containers}
    labels = dict(zip(axes.get_yticks(), (text.get_text() for text in axes.get_yticklabels()), strict=True))
    (height,) = heights
    assert labels[height] == "none seen"
    assert 0 < height < 0.001
    (segment,) = axes.containers[0].lines[2][0].get_segments()
    assert float(segment[1][1]) == pytest.approx(0.088)  # the bound, not nothing


def test_the_limit_is_a_line_that_all_points_lie_to_the_left_of() -> None:
    limits = {"slow": 8 * 40_000.0, "quick": 8 * 30_000.0, "deaf": None}
    known = [{**one, "limit_bits_per_s": limits[one["codec"]] if one["channel"] == "worn" else None} for one in ROWS]
    new, worn = frontier_figure(known).axes
    (line,) = [line for line in worn.get_lines() if set(line.get_xdata()) == {40_000.0}]
    assert line.get_ydata() == [0, 1]
    assert not [line for line in new.get_lines() if 40_000.0 in line.get_xdata()]
    low, high = worn.get_xlim()
    assert low < 1.3 < 58.0 < 40_000.0 < high
    assert new.get_xlim() == (low, high)


def test_the_frontier_is_drawn_through_its_rows() -> None:
    axes = frontier_figure(ROWS).axes[1]
    (line,) = [line for line in axes.get_lines() if line.get_drawstyle() == "steps-pre"]
    assert line.get_xdata().tolist() == [1.3, 58.0]
    assert line.get_ydata().tolist() == [0.004, 0.03]


@pytest.mark.parametrize("fastest", [90.0, 900.0, 40_000.0])
def test_speeds_on_the_axis_do_not_run_into_each_other(fastest: float) -> None:
    names = ("new", "worn")
    figure = frontier_figure([row("a", name, speed, 0.1, 0.05, 0.2) for name in names for speed in (1.3, fastest)])
    figure.draw_without_rendering()
    low, high = figure.axes[0].get_xlim()
    ticks = zip(figure.axes[0].get_xticks(), figure.axes[0].get_xticklabels(), strict=True)
    boxes = [label.get_window_extent() for at, label in ticks if low <= at <= high]
    assert len(boxes) >= 2
    assert not [pair for pair in pairwise(boxes) if pair[0].overlaps(pair[1])]


def test_candidates_differ_in_colour_and_in_marker() -> None:
    names = [f"candidate-{number}" for number in range(7)]
    figure = frontier_figure([row(name, "new", 1.0 + place, 0.1, 0.05, 0.2) for place, name in enumerate(names)])
    looks = [(bar.lines[0].get_color(), bar.lines[0].get_marker()) for bar in figure.axes[0].containers]
    assert len({colour for colour, _ in looks}) == len({marker for _, marker in looks}) == 7


@pytest.mark.parametrize("name", ["$\\frac{1}{$", "a\x1b[31m\nb", "_hidden", "x" * 500, "時計塔", "<script>&amp;"])
def test_a_hostile_name_is_drawn_as_text(name, tmp_path) -> None:
    for kind in ("png", "svg"):
        save_frontier([row(name, name, 5.0, 0.1, 0.05, 0.2, on_frontier=True)], tmp_path / "p", kind)
        assert (tmp_path / "p").stat().st_size > 1000


def test_several_receivers_have_a_panel_each_that_says_so() -> None:
    both = [row("quick", "new", 58.0, 0.0, 0.0, 0.1, receiver=receiver) for receiver in ("sound", "relays")]
    assert [axes.get_title() for axes in frontier_figure(both).axes] == ["new, sound", "new, relays"]


def test_the_same_records_give_the_same_picture() -> None:
    def picture() -> bytes:
        taken = io.BytesIO()
        save_frontier(ROWS, taken, "png")
        return taken.getvalue()

    assert picture() == picture()


def test_nothing_played_is_nothing_to_draw() -> None:
    with pytest.raises(TapewrightError, match="nothing to draw"):
        frontier_figure([ROWS[-1]])


@pytest.mark.parametrize("name", ["p.gif", "p", "p.png.txt", ".png"])
def test_other_formats_are_refused(name) -> None:
    with pytest.raises(UsageError, match=r"must end in \.png or \.svg"):
        picture_format(Path(name))


def test_formats_go_by_the_ending() -> None:
    assert [picture_format(Path(name)) for name in ("a.png", "b.PNG", "c.svg")] == ["png", "png", "svg"]
