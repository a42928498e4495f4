"""What a measurement found as a picture: flutter over time and its spectrum, response, dropouts along the tape.

Colours: M. Okabe and K. Ito, "Color Universal Design" (2008), told apart with any colour vision; the tracks differ in
their lines and markers as well.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ..contracts.errors import in_one_line

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_LOOKS: dict[str, dict[str, Any]] = {
    "left": {"color": "#0072B2", "marker": "o", "linestyle": "-"},
    "right": {"color": "#D55E00", "marker": "s", "linestyle": "--"},
    "mono": {"color": "#009E73", "marker": "D", "linestyle": "-"},
}
_MARKED = "#D55E00"
_LINE = "#0072B2"
_METADATA: dict[str, dict[str, str | None]] = {"png": {"Software": None}, "svg": {"Date": None, "Creator": None}}
"""The same records give the same file: no date and no version inside."""

_NAMED_LINES = 4
_APART = 3.0
"""Frequencies whose ratio is less than this have no room beside each other for what is said of them."""

_LABEL_POINTS = 18


def save_measurement(record: Mapping[str, Any], traces: Mapping[str, Any], path: Path, picture_format: str) -> None:
    """Draw a measurement and write the picture to ``path``; arguments as ``measurement_figure``."""
    figure = measurement_figure(record, traces)
    figure.savefig(path, format=picture_format, metadata=_METADATA[picture_format])


def measurement_figure(record: Mapping[str, Any], traces: Mapping[str, Any]) -> Figure:
    """The figure of four panels; a panel without data says why.

    Args:
        record: the profile's plain values.
        traces: ``flutter`` (lists of ``times_s`` and ``percent``), ``spectrum`` (``hz`` and ``percent``), ``dropouts``
            (a list a track of ``start_s``, ``length_s``, ``depth_db``), ``tracks``, ``listened``, ``duration_s``.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(10.5, 8.0), layout="constrained", dpi=150)
    FigureCanvasAgg(figure)
    grid = figure.subplots(2, 2)
    _flutter(grid[0, 0], record, traces)
    _spectrum(grid[0, 1], record, traces)
    _response(grid[1, 0], record)
    _dropouts(grid[1, 1], record, traces)
    source = in_one_line(record["profile"].get("source", ""), 60)
    if source:
        figure.suptitle(source, fontsize="medium", parse_math=False)
    return figure


def _flutter(axes: Axes, record: Mapping[str, Any], traces: Mapping[str, Any]) -> None:
    axes.set_title("Speed along the tape, weighted", fontsize="medium")
    if not traces["flutter"]:
        return _nothing(axes, record, "flutter_weighted_percent")
    for stretch in traces["flutter"]:
        axes.plot(stretch["times_s"], stretch["percent"], color=_LINE, linewidth=0.5)
    told = record["figures"].get("flutter_weighted_percent")
    if told is not None:
        for sign in (-1, 1):
            axes.axhline(sign * told["value"], color=_MARKED, linestyle="--", linewidth=1.2)
        half = (told["high"] - told["low"]) / 2
        words = f"2-sigma reading ±{told['value']:.3f} % (95 %: ±{half:.3f})"
        axes.text(0.01, 0.985, words, transform=axes.transAxes, va="top", color=_MARKED, fontsize="small")
        reach = max(max(map(abs, stretch["percent"])) for stretch in traces["flutter"])
        axes.set_ylim(-1.25 * reach, 1.25 * reach)
    axes.set_xlabel("time on the capture, s")
    axes.set_ylabel("deviation, %")
    axes.grid(True, color="0.92")


def _spectrum(axes: Axes, record: Mapping[str, Any], traces: Mapping[str, Any]) -> None:
    axes.set_title("What makes it, unweighted", fontsize="medium")
    spectrum = traces["spectrum"]
    if not spectrum:
        return _nothing(axes, record, "flutter_weighted_percent")
    axes.loglog(spectrum["hz"], spectrum["percent"], color=_LINE, linewidth=0.8)
    heights = dict(zip(spectrum["hz"], spectrum["percent"], strict=True))
    last_hz, lifted = 0.0, 0
    for line in sorted(record["flutter_lines"][:_NAMED_LINES], key=lambda one: one["frequency_hz"]):
        lifted = lifted + 1 if line["frequency_hz"] < _APART * last_hz else 0
        last_hz = line["frequency_hz"]
        near = min(heights, key=lambda hz: abs(hz - line["frequency_hz"]))
        top = max(height for hz, height in heights.items() if abs(hz - near) < 0.1 * near + 0.15)
        axes.annotate(
            f"{line['frequency_hz']:.2f} Hz\n{line['cause']}",
            (line["frequency_hz"], top),
            xytext=(0, 6 + _LABEL_POINTS * lifted),
            textcoords="offset points",
            ha="right" if line["frequency_hz"] > spectrum["hz"][-1] / _APART else "center",
            fontsize="x-small",
            color=_MARKED,
        )
    low, high = axes.get_ylim()
    axes.set_ylim(low, high * 4 * (high / low) ** (0.12 * lifted))
    axes.set_xlabel("frequency of the waver, Hz")
    axes.set_ylabel("rms deviation in 0.1 Hz, %")
    axes.xaxis.set_major_formatter(lambda hz, _: f"{hz:g}")
    axes.grid(True, color="0.92")


def _response(axes: Axes, record: Mapping[str, Any]) -> None:
    axes.set_title("Response re 315 Hz, with 95 % intervals", fontsize="medium")
    drawn = False
    for track, look in _LOOKS.items():
        curve = record["curves"].get(f"response_{track}_db")
        if curve is None:
            continue
        drawn = True
        below = [value - low for value, low in zip(curve["values"], curve["lows"], strict=True)]
        above = [high - value for value, high in zip(curve["values"], curve["highs"], strict=True)]
        axes.errorbar(
            curve["places"],
            curve["values"],
            yerr=[below, above],
            label=track,
            **look,
            markersize=4,
            linewidth=1,
            capsize=2,
            markerfacecolor="none" if track == "right" else look["color"],
        )
    if not drawn:
        return _nothing(axes, record, "response_left_db")
    axes.set_xscale("log")
    axes.set_xticks([50, 100, 200, 500, 1000, 2000, 5000, 10_000], minor=False)
    axes.xaxis.set_major_formatter(lambda hz, _: f"{hz:g}" if hz < 1000 else f"{hz / 1000:g}k")
    axes.minorticks_off()
    axes.set_xlabel("frequency, Hz")
    axes.set_ylabel("level, dB")
    axes.legend(frameon=False, loc="lower center")
    axes.grid(True, color="0.92")


def _dropouts(axes: Axes, record: Mapping[str, Any], traces: Mapping[str, Any]) -> None:
    axes.set_title("Dropouts along the tape", fontsize="medium")
    if not traces["listened"]:
        return _nothing(axes, record, "dropouts_left_per_minute")
    tracks = traces["tracks"]
    for start, end in traces["listened"]:
        axes.axvspan(start, end, color="0.95", zorder=0)
    for track, found in zip(tracks, traces["dropouts"], strict=True):
        look = _LOOKS[track]
        sizes = [12 + 1.2 * 1000 * one["length_s"] for one in found]
        axes.scatter(
            [one["start_s"] for one in found],
            [one["depth_db"] for one in found],
            s=[min(size, 400) for size in sizes],
            marker=look["marker"],
            facecolors="none",
            edgecolors=look["color"],
            linewidths=1.2,
            label=f"{track}: {len(found)}",
        )
    axes.set_xlim(0, traces["duration_s"])
    deepest = max((one["depth_db"] for found in traces["dropouts"] for one in found), default=20.0)
    axes.set_ylim(0, 1.3 * deepest)
    axes.set_xlabel("time on the capture, s (shaded: where a carrier was heard)")
    axes.set_ylabel("depth at the carrier, dB; larger = longer")
    axes.set_axisbelow(True)
    axes.legend(frameon=False, loc="upper right", ncols=2)
    axes.grid(True, color="0.92")


def _nothing(axes: Axes, record: Mapping[str, Any], figure: str) -> None:
    import textwrap

    reason = record["missing"].get(figure, "the capture does not hold it")
    words = textwrap.fill(f"not measured, because {in_one_line(reason, 120)}", 40)
    axes.text(0.5, 0.5, words, ha="center", va="center", transform=axes.transAxes, color="0.3")
    axes.set_xticks([])
    axes.set_yticks([])
