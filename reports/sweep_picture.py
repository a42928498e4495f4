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
    knobs = list(dict.fromkeys(curve["knob"] for _, curves in swept for curve in curves))
    several = len({row["receiver"] for row, _ in swept}) > 1
    names = [f"{row['codec']}, {row['receiver']}" if several else row["codec"] for row, _ in swept]
    across = min(_PANELS_A_ROW, len(knobs))
    down = -(-len(knobs) // across)
    figure = Figure(figsize=(1.0 + 2.9 * across, 1.2 + 2.4 * down), layout="constrained", dpi=150)
    FigureCanvasAgg(figure)
    grid = figure.subplots(down, across, squeeze=False, sharey=True)
    for axes, knob in zip(grid.flat, knobs, strict=False):
        for place, (_, curves) in enumerate(swept):
            for curve in (one for one in curves if one["knob"] == knob):
                aside = _ASIDE ** (place - (len(swept) - 1) / 2)
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
                told = [f"x {point['factor']:g}\n{point['value']:.4g} {curve['unit']}" for point in points]
        axes.set_xscale("log")
        axes.minorticks_off()
        axes.set_xticks(ticks, told, fontsize="small", parse_math=False)
        axes.set_xlim(ticks[0] / 1.35, ticks[-1] * 1.35)
        axes.set_ylim(-4, 104)
        axes.set_title(in_one_line(knob, _LONGEST_NAME), fontsize="medium", parse_math=False)
        axes.grid(True, axis="y", color="0.92")
    for axes in grid.flat[len(knobs) :]:
        axes.set_axis_off()
    keys = [Line2D([], [], **look(place), label=in_one_line(name, _LONGEST_NAME)) for place, name in enumerate(names)]
    legend = figure.legend(handles=keys, loc="outside upper center", ncols=3, frameon=False)
    for text in legend.get_texts():
        text.set_parse_math(False)
    channel = in_one_line(swept[0][0]["channel"], _LONGEST_NAME)
    figure.supylabel("loads right, %, 95 % interval", fontsize="medium")
    figure.supxlabel(f"figures of {channel}", fontsize="medium", parse_math=False)
    return figure
