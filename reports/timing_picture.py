"""Lines against steps as a picture: where the table holds each line, and when a typical machine's contacts are closed.

Colours: M. Okabe and K. Ito, "Color Universal Design" (2008), told apart with any colour vision; what is wrong is
hatched as well.
"""

from __future__ import annotations

import warnings
from collections.abc import Mapping, Sequence
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ..contracts.errors import in_one_line
from .timing_diagram import said_in_step
from .timing_text import short

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_CLOSED = "#0072B2"
_TAPE = "#009E73"
_MEANT = "0.88"
_WRONG = "#D55E00"
_METADATA: dict[str, dict[str, str | None]] = {"png": {"Software": None}, "svg": {"Date": None, "Creator": None}}
"""The same records give the same file: no date and no version inside."""

_LONGEST_NAME = 28
_HEIGHT = 0.36


def save_timing(record: Mapping[str, Any], byte: Mapping[str, Any], path: Path, picture_format: str) -> None:
    """Draw a timing and write the picture to ``path``; arguments as ``timing_figure``."""
    with warnings.catch_warnings():
        # A name in a script that the font lacks shows as boxes; that is no reason to talk to the user.
        warnings.filterwarnings("ignore", message="Glyph .* missing")
        timing_figure(record, byte).savefig(path, format=picture_format, metadata=_METADATA[picture_format])


def timing_figure(record: Mapping[str, Any], byte: Mapping[str, Any]) -> Figure:
    """The figure: a row for each track, the step relays and each line, over the time of one byte.

    Args:
        record: as ``receivers.relays.timing_record`` makes it.
        byte: as ``receivers.relays.one_byte`` makes it.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure
    from matplotlib.patches import Patch

    lines = record["table"]["lines"]
    rows = len(byte["tracks"]) + 1 + len(lines)
    figure = Figure(figsize=(12.0, 2.4 + 0.42 * rows), layout="constrained", dpi=150)
    FigureCanvasAgg(figure)
    axes = figure.subplots()
    edges = [*byte["steps_ms"], byte["end_ms"]]
    names = []
    for row, track in enumerate(byte["tracks"]):
        names.append(f"{track['role']} contact ({track['track']})")
        _bars(axes, row, track["closed_ms"], _TAPE)
    row = len(byte["tracks"])
    names.append("step relays")
    for relay in byte["step_relays"]:
        _bars(axes, row, relay["closed_ms"], "none", edgecolor="0.3", linewidth=0.8)
    for place, line in enumerate(lines, row + 1):
        names.append(_shown(line["name"]))
        for step in line["steps"]:
            axes.barh(place, edges[step] - edges[step - 1], 0.84, edges[step - 1], color=_MEANT, zorder=1)
        for step in line["sneaked_steps"]:
            width = edges[step] - edges[step - 1]
            axes.barh(place, width, 0.84, edges[step - 1], color="none", edgecolor=_WRONG, hatch="///", zorder=1)
        _bars(axes, place, byte["lines"][place - row - 1]["closed_ms"], _CLOSED)
        _uses(axes, place, line, lines, row + 1, edges)
    _steps(axes, record, byte, edges)
    axes.set_yticks(range(rows), names, parse_math=False)
    axes.set_ylim(rows - 0.4, -0.6)
    axes.set_xlim(byte["from_ms"], byte["to_ms"])
    axes.set_xlabel("ms from the start of the first step")
    for side in ("top", "right", "left"):
        axes.spines[side].set_visible(False)
    axes.tick_params(left=False)
    keys = [
        Patch(color=_MEANT, label="held by the table"),
        Patch(color=_TAPE, label="input contact closed"),
        Patch(color=_CLOSED, label="line's contact closed"),
    ]
    if record["hazards"]:
        keys.append(Patch(facecolor="none", edgecolor=_WRONG, hatch="///", label="hazard"))
    figure.legend(handles=keys, loc="outside lower center", ncols=len(keys), frameon=False, fontsize="small")
    figure.suptitle(_title(record), fontsize="medium", parse_math=False)
    return figure


def _bars(axes: Axes, row: int, closed: Sequence[Sequence[float]], colour: str, **look: Any) -> None:
    for start, end in closed:
        axes.barh(row, end - start, _HEIGHT, start, color=colour, zorder=2, **look)


def _uses(
    axes: Axes,
    place: int,
    line: Mapping[str, Any],
    lines: Sequence[Mapping[str, Any]],
    first: int,
    edges: Sequence[float],
) -> None:
    """An arrow from each line that must be steady to the one that uses it."""
    names = [other["name"] for other in lines]
    for number, used in enumerate(line["uses"]):
        for step in line["steps"]:
            at = edges[step - 1] + (0.06 + 0.05 * number) * (edges[step] - edges[step - 1])
            axes.annotate(
                "",
                (at, place - 0.1),
                (at, first + names.index(used)),
                arrowprops={"arrowstyle": "->", "color": "0.25", "linewidth": 0.9},
                zorder=3,
            )


def _steps(axes: Axes, record: Mapping[str, Any], byte: Mapping[str, Any], edges: Sequence[float]) -> None:
    wrong = {hazard["step"] for hazard in record["hazards"]}
    axes.text(
        -0.005, -0.72, "step\nbit", ha="right", va="bottom", fontsize="small", transform=axes.get_yaxis_transform()
    )
    for edge in edges:
        axes.axvline(edge, color="0.75", linewidth=0.7, zorder=0)
    for step, (start, end) in enumerate(pairwise(edges), 1):
        bit = said_in_step(byte, step)
        look: dict[str, Any] = {"color": _WRONG, "fontweight": "bold"} if step in wrong else {"color": "0.1"}
        axes.text((start + end) / 2, -0.72, f"{step}\n{bit}", ha="center", va="bottom", fontsize="small", **look)


def _title(record: Mapping[str, Any]) -> str:
    names = f"{_shown(record['table']['name'])} with {_shown(record['set']['name'])}"
    shortest = record["shortest_step_ms"]
    closes = "no step closes" if shortest is None else f"shortest step that closes {shortest:.1f} ms"
    # The axes' own title would run into the numbers of the steps; two blank lines keep room for them.
    return f"{names}: step {record['step_ms']:g} ms, {closes}; {short(record['margins'][0])}\n\n"


def _shown(name: str) -> str:
    return in_one_line(name, _LONGEST_NAME)
