"""The frontier as a picture: useful bytes per second against residual byte error, a panel a channel and receiver.

Colours: M. Okabe and K. Ito, "Color Universal Design" (2008), told apart with any colour vision; each candidate has its
own marker as well.
"""

from __future__ import annotations

import math
import warnings
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ..contracts.errors import TapewrightError, UsageError, in_one_line

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

FORMATS = {".png": "png", ".svg": "svg"}
"""What a picture's file name may end in."""

COLOURS = ("#0072B2", "#D55E00", "#009E73", "#CC79A7", "#E69F00", "#56B4E9", "#000000")
_MARKERS = ("o", "s", "^", "D", "v", "P", "X", "<", ">")
METADATA: dict[str, dict[str, str | None]] = {"png": {"Software": None}, "svg": {"Date": None, "Creator": None}}
"""The same records give the same file: no date and no version inside."""

_PANELS_A_ROW = 2
_LONGEST_NAME = 60
_FRONTIER_LOOK: dict[str, Any] = {
    "color": "0.5",
    "linestyle": "--",
    "linewidth": 1,
    "marker": "o",
    "markersize": 13,
    "markerfacecolor": "none",
}


_LIMIT_LOOK: dict[str, Any] = {"color": "0.2", "linestyle": "-", "linewidth": 2}


def picture_format(path: Path) -> str:
    """The format that the name asks for, once it is sure that a picture can be made.

    Raises:
        UsageError: the name ends in something else.
        TapewrightError: the library for pictures is not installed.
    """
    found = FORMATS.get(path.suffix.lower())
    if found is None:
        raise UsageError(f"picture '{in_one_line(path)}' must end in {' or '.join(FORMATS)}.")
    try:
        import matplotlib.figure  # noqa: F401
    except ImportError as error:
        raise TapewrightError("a picture needs matplotlib; pip install 'tapewright[plot]' brings it.") from error
    return found


def save_frontier(rows: Sequence[Mapping[str, Any]], path: Path, picture_format: str) -> None:
    """Draw ``rows``, the records of a comparison as JSON has them, and write the picture to ``path``."""
    with warnings.catch_warnings():
        # A name in a script that the font lacks shows as boxes; that is no reason to talk to the user.
        warnings.filterwarnings("ignore", message="Glyph .* missing")
        frontier_figure(rows).savefig(path, format=picture_format, metadata=METADATA[picture_format])


def frontier_figure(rows: Sequence[Mapping[str, Any]]) -> Figure:
    """The figure: a point with its interval for each row that was played, a line along each frontier.

    A line upright stands at the limit, that of the channel or the receiver: no point can lie to the right of it.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure
    from matplotlib.lines import Line2D
    from matplotlib.ticker import LogLocator

    played = [row for row in rows if row["trials"]]
    if not played:
        raise TapewrightError("there is nothing to draw: no tape was played.")
    panels = list(dict.fromkeys((row["channel"], row["receiver"]) for row in played))
    codecs = list(dict.fromkeys(row["codec"] for row in played))
    floor = _floor(played)
    across = min(_PANELS_A_ROW, len(panels))
    down = -(-len(panels) // across)
    figure = Figure(figsize=(1.2 + 4.4 * across, 1.4 + 3.2 * down), layout="constrained", dpi=150)
    FigureCanvasAgg(figure)
    grid = figure.subplots(down, across, squeeze=False, sharex=True, sharey=True)
    spare = list(grid.flat[len(panels) :])
    for axes, panel in zip(grid.flat, panels, strict=False):
        ours = [row for row in played if (row["channel"], row["receiver"]) == panel]
        _draw_panel(axes, ours, codecs, floor)
        heard_by = "" if len({receiver for _, receiver in panels}) == 1 else f", {_shown(panel[1])}"
        axes.set_title(_shown(panel[0]) + heard_by, fontsize="medium", parse_math=False)
    fastest = max([row["useful_bytes_per_s"] for row in played] + [_limit(row) or 0.0 for row in played])
    slowest = min(row["useful_bytes_per_s"] for row in played)
    grid.flat[0].set_xlim(slowest / 1.6, fastest * 1.6)
    # Figures at 1, 2 and 5 of more than two powers of ten would run into each other, at 1 and 3 those of four.
    spread = fastest / slowest
    subs = (1.0, 2.0, 5.0) if spread < 100 else (1.0, 3.0) if spread < 5000 else (1.0,)
    grid.flat[0].xaxis.set_major_locator(LogLocator(subs=subs))
    for axes in spare:
        axes.set_axis_off()
    keys = [Line2D([], [], **look(place), linestyle="none", label=_shown(codec)) for place, codec in enumerate(codecs)]
    keys.append(Line2D([], [], **_FRONTIER_LOOK, label="on the frontier"))
    if any(_limit(row) is not None for row in played):
        keys.append(Line2D([], [], **_LIMIT_LOOK, label="limit of both tracks or of the contacts, an upper bound"))
    legend = figure.legend(handles=keys, loc="outside upper center", ncols=3, frameon=False)
    for text in legend.get_texts():
        text.set_parse_math(False)
    figure.supxlabel("useful bytes per second", fontsize="medium")
    figure.supylabel("residual byte error rate, 95 % interval", fontsize="medium")
    return figure


def _draw_panel(axes: Axes, rows: Sequence[Mapping[str, Any]], codecs: Sequence[str], floor: float) -> None:
    for row in rows:
        place = codecs.index(row["codec"])
        estimate = row["residual_byte_error_rate"]
        at = max(estimate["rate"], floor)
        axes.errorbar(
            row["useful_bytes_per_s"],
            at,
            yerr=[[at - max(min(estimate["low"], at), floor)], [estimate["high"] - at]],
            **look(place),
            capsize=3,
        )
    frontier = sorted(
        (row["useful_bytes_per_s"], max(row["residual_byte_error_rate"]["rate"], floor))
        for row in rows
        if row["on_frontier"]
    )
    speeds, errors = [speed for speed, _ in frontier], [error for _, error in frontier]
    axes.plot(speeds, errors, **_FRONTIER_LOOK, drawstyle="steps-pre", zorder=0)
    axes.set_xscale("log")
    axes.set_yscale("log")
    axes.set_ylim(floor / 2, 2)
    ticks = [10.0**power for power in range(math.ceil(math.log10(floor)) + 1, 1)]
    axes.set_yticks([floor, *ticks], ["none seen", *(f"{tick:g}" for tick in ticks)])
    axes.minorticks_off()
    limits = [_limit(row) for row in rows]
    if None not in limits:
        axes.axvline(max(limit for limit in limits if limit is not None), **_LIMIT_LOOK, zorder=0)
    axes.xaxis.set_major_formatter(lambda speed, _: f"{speed:g}")
    axes.tick_params(labelbottom=True)
    axes.grid(True, color="0.92")
    axes.set_axisbelow(True)


def _limit(row: Mapping[str, Any]) -> float | None:
    """Bytes a second that nobody exceeds; None where there is no known bound."""
    bits_per_s = row.get("limit_bits_per_s")
    return None if bits_per_s is None else bits_per_s / 8


def look(place: int) -> dict[str, Any]:
    """Marker and colour of the candidate at that place."""
    return {"marker": _MARKERS[place % len(_MARKERS)], "color": COLOURS[place % len(COLOURS)]}


def _floor(rows: Sequence[Mapping[str, Any]]) -> float:
    """Where a rate of which nothing was seen is drawn: below everything that was."""
    seen = [row["residual_byte_error_rate"]["rate"] for row in rows]
    return 10.0 ** (math.floor(math.log10(min([rate for rate in seen if rate] + [0.1]))) - 1)


def _shown(name: str) -> str:
    return in_one_line(name, _LONGEST_NAME)
