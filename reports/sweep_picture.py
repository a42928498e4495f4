"""Sweeps as a picture: success as each figure of a channel goes from half to twice as bad, a panel a figure."""

from __future__ import annotations

import warnings
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ..contracts.errors import TapewrightError, in_one_line
from .frontier_picture import METADATA, look

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_LONGEST_NAME = 60
_LONGEST_IN_TITLE = 30
_PANELS_A_ROW = 4
_ASIDE = 1.06
"""Factor by which the curves stand beside each other, so that no interval hides another."""


def save_sweeps(
    rows: Sequence[Mapping[str, Any]], evidence: Sequence[Mapping[str, Any]], path: Path, picture_format: str
) -> None:
    """Draw the sweeps in ``evidence`` and write the picture to ``path``."""
    with warnings.catch_warnings():
        # A name in a script that the font lacks shows as boxes; that is no reason to talk to the user.
        warnings.filterwarnings("ignore", message="Glyph .* missing")
        sweep_figure(rows, evidence).savefig(path, format=picture_format, metadata=METADATA[picture_format])


def sweep_figure(rows: Sequence[Mapping[str, Any]], evidence: Sequence[Mapping[str, Any]]) -> Figure:
    """The figure.

    Raises:
        TapewrightError: no knob was turned.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure
    from matplotlib.lines import Line2D

    swept = [(row, entry["sweeps"]) for row, entry in zip(rows, evidence, strict=True) if entry.get("sweeps")]
    if not swept:
        raise TapewrightError("there is nothing to draw: no knob of a channel was turned.")
    several_channels = len({row["channel"] for row, _ in swept}) > 1
    several_receivers = len({row["receiver"] for row, _ in swept}) > 1
    panels = list(dict.fromkeys((row["channel"], curve["knob"]) for row, curves in swept for curve in curves))
    names = list(dict.fromkeys(_name(row, several_receivers) for row, _ in swept))
    across = min(_PANELS_A_ROW, len(panels))
    down = -(-len(panels) // across)
    figure = Figure(figsize=(1.0 + 2.9 * across, 1.2 + 2.4 * down), layout="constrained", dpi=150)
    FigureCanvasAgg(figure)
    grid = figure.subplots(down, across, squeeze=False, sharey=True)
    for axes, (channel, knob) in zip(grid.flat, panels, strict=False):
        for row, curves in swept:
            for curve in (one for one in curves if (row["channel"], one["knob"]) == (channel, knob)):
                place = names.index(_name(row, several_receivers))
                aside = _ASIDE ** (place - (len(names) - 1) / 2)
                points = curve["points"]
                rates = [100 * point["rate"] for point in points]
                axes.errorbar(
                    [point["factor"] * aside for point in points],
                    rates,
                    yerr=[
                        [rate - 100 * point["low"] for rate, point in zip(rates, points, strict=True)],
                        [100 * point["high"] - rate for rate, point in zip(rates, points, strict=True)],
                    ],
                    **look(place),
                    capsize=2,
                    linewidth=1.2,
                    markersize=5,
                )
                ticks = [point["factor"] for point in points]
                told = [f"x {point['factor']:g}\n{point['value']:.3g} {curve['unit']}" for point in points]
        axes.set_xscale("log")
        axes.minorticks_off()
        axes.set_xticks(ticks, told, fontsize="small", parse_math=False)
        axes.set_xlim(ticks[0] / 1.35, ticks[-1] * 1.35)
        axes.set_ylim(-4, 104)
        title = f"{in_one_line(knob, _LONGEST_NAME)}\n{in_one_line(channel, _LONGEST_IN_TITLE)}"
        axes.set_title(title if several_channels else title.partition("\n")[0], fontsize="medium", parse_math=False)
        axes.grid(True, axis="y", color="0.92")
    for axes in grid.flat[len(panels) :]:
        axes.set_axis_off()
    keys = [Line2D([], [], **look(place), label=in_one_line(name, _LONGEST_NAME)) for place, name in enumerate(names)]
    legend = figure.legend(handles=keys, loc="outside upper center", ncols=3, frameon=False)
    for text in legend.get_texts():
        text.set_parse_math(False)
    figure.supylabel("loads right, %, 95 % interval", fontsize="medium")
    about = "the channels" if several_channels else in_one_line(swept[0][0]["channel"], _LONGEST_NAME)
    figure.supxlabel(f"figures of {about}", fontsize="medium", parse_math=False)
    return figure


def _name(row: Mapping[str, Any], several_receivers: bool) -> str:
    return f"{row['codec']}, {row['receiver']}" if several_receivers else str(row["codec"])
