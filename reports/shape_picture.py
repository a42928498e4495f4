"""The shape of a play as a picture: waveform with bits, a histogram of how sure the bits were, one of the levels."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from .frontier_picture import METADATA

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_LEFT, _RIGHT, _WRONG = "#0072B2", "#E69F00", "#D55E00"
_NONE_HEARD = "no bit was heard"


def save_shape(record: Mapping[str, Any], path: Path, picture_format: str) -> None:
    """Draw what ``benchmarks.shape`` made and write the picture to ``path``."""
    shape_figure(record).savefig(path, format=picture_format, metadata=METADATA[picture_format])


def shape_figure(record: Mapping[str, Any]) -> Figure:
    """The figure."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(10.5, 6.2), layout="constrained", dpi=150)
    FigureCanvasAgg(figure)
    grid = figure.add_gridspec(2, 2, height_ratios=(1.15, 1))
    _draw_waveform(figure.add_subplot(grid[0, :]), record)
    _draw_sureness(figure.add_subplot(grid[1, 0]), record)
    _draw_levels(figure.add_subplot(grid[1, 1]), record["level"])
    return figure


def _draw_waveform(axes: Axes, record: Mapping[str, Any]) -> None:
    drawn = record["waveform"]
    times = [drawn["from_ms"] + place * drawn["step_ms"] for place in range(len(drawn["left"]))]
    axes.plot(times, drawn["left"], color=_LEFT, linewidth=0.9, label="left")
    axes.plot(times, drawn["right"], color=_RIGHT, linewidth=0.9, label="right", linestyle="--")
    bits = [bit for bit in drawn["bits"] if bit["time_ms"] is not None]
    rows = (("sent", 1.14), ("heard", 1.04)) if record["known"] else (("heard", 1.04),)
    for bit in bits:
        bad = bit["state"] != "right"
        for key, height in rows:
            told = "?" if bit[key] is None else str(bit[key])
            axes.text(
                bit["time_ms"],
                height,
                told,
                transform=axes.get_xaxis_transform(),
                ha="center",
                family="monospace",
                color=_WRONG if bad and key == "heard" else "0.1",
                fontweight="bold" if bad else "normal",
            )
        if bad:
            axes.axvline(bit["time_ms"], color=_WRONG, alpha=0.25, linewidth=6, zorder=0)
    for key, height in rows:
        axes.text(-0.01, height, key, transform=axes.transAxes, ha="right", fontsize="small")
    about = "where the trouble begins" if record["trouble"] else "in the middle: no bit made trouble"
    axes.set_xlabel(f"ms on the capture, {about if bits else _NONE_HEARD}")
    axes.set_ylabel("re full scale")
    axes.margins(x=0)
    axes.grid(True, color="0.92")
    # Below, beside the words: on the drawing it would hide some of it.
    axes.legend(loc="upper right", bbox_to_anchor=(1.0, -0.09), frameon=False, fontsize="small", ncols=2)


def _draw_sureness(axes: Axes, record: Mapping[str, Any]) -> None:
    sure = record["sure"]
    axes.stairs(
        sure["right"], sure["edges"], fill=True, color=_LEFT, label="bits" if not record["known"] else "heard right"
    )
    if any(sure["wrong"]):
        axes.stairs(
            sure["wrong"], sure["edges"], fill=True, color=_WRONG, label="wrong or not known", hatch="//", alpha=0.8
        )
    axes.set_yscale("symlog", linthresh=1)
    axes.set_xlabel("log-likelihood ratio: 0 on the left, 1 on the right, unsure in the middle", fontsize="small")
    axes.set_ylabel("bits")
    axes.set_ylim(top=10 * max(*sure["right"], *sure["wrong"], 1))  # room for the key
    axes.legend(frameon=False, fontsize="small", loc="upper left", ncols=2)


def _draw_levels(axes: Axes, level: Mapping[str, Any]) -> None:
    axes.stairs(level["left"], level["edges_db"], color=_LEFT, linewidth=1.6, label="left")
    axes.stairs(level["right"], level["edges_db"], color=_RIGHT, linewidth=1.6, linestyle="--", label="right")
    axes.set_yscale("symlog", linthresh=1)
    axes.set_xlabel("peak of each 5 ms, dB re full scale", fontsize="small")
    axes.set_ylabel("pieces")
    axes.legend(frameon=False, fontsize="small", loc="upper left")
