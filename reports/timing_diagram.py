"""A byte to scale, as inline SVG: the tape, the coils' currents, the contacts and the lines over one axis of time.

Colours: M. Okabe and K. Ito, "Color Universal Design" (2008); every row has its name, so that none is needed.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from html import escape
from itertools import pairwise
from typing import Any

from ..contracts.errors import in_one_line

WIDTH, LEFT, RIGHT = 760.0, 118.0, 14.0
_BLUE, _RED, _GREEN, _GREY = "#0072B2", "#D55E00", "#009E73", "#777"
_LONGEST_NAME = 17
_HALO = "paint-order:stroke;stroke:#fff;stroke-width:3px"
_AXIS_STEPS_MS = (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000)


class _Drawing:
    """Rows below each other over one time axis."""

    def __init__(self, from_ms: float, to_ms: float) -> None:
        self.from_ms, self.to_ms = from_ms, to_ms
        self.y = 16.0
        self.parts: list[str] = []

    def x(self, time_ms: float) -> float:
        """Where a time stands."""
        inside = min(max(time_ms, self.from_ms), self.to_ms)
        return LEFT + (WIDTH - LEFT - RIGHT) * (inside - self.from_ms) / (self.to_ms - self.from_ms)

    def words(self, x: float, y: float, text: str, anchor: str = "end", colour: str = "#111") -> None:
        shown = escape(in_one_line(text, 60))
        self.parts.append(
            f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" style="fill:{colour};{_HALO}">{shown}</text>'
        )

    def name(self, text: str, height: float) -> None:
        self.words(LEFT - 8, self.y + height / 2 + 3.5, in_one_line(text, _LONGEST_NAME + 4))

    def box(self, start: float, end: float, height: float, fill: str, line: str = "none", drop: float = 0.0) -> None:
        left, right = self.x(start), self.x(end)
        self.parts.append(
            f'<rect x="{left:.2f}" y="{self.y + drop:.1f}" width="{max(right - left, 0.4):.2f}" height="{height:.1f}" '
            f'fill="{fill}" stroke="{line}" stroke-width="0.8"/>'
        )

    def level(self, y: float, colour: str, dashes: str) -> None:
        self.parts.append(
            f'<path d="M{LEFT:.1f} {y:.1f}H{WIDTH - RIGHT:.1f}" stroke="{colour}" stroke-width="0.8" '
            f'stroke-dasharray="{dashes}" fill="none"/>'
        )

    def curve(self, points: Iterable[tuple[float, float]], colour: str, fill: str = "none", width: float = 1.0) -> None:
        path = "L".join(f"{x:.1f} {y:.1f}" for x, y in points)
        self.parts.append(f'<path d="M{path}" fill="{fill}" stroke="{colour}" stroke-width="{width}"/>')

    def upright(self, time_ms: float, top: float, bottom: float) -> None:
        x = self.x(time_ms)
        self.parts.insert(0, f'<path d="M{x:.1f} {top:.1f}V{bottom:.1f}" stroke="#ccc" stroke-width="0.7"/>')

    def axis(self) -> None:
        span = self.to_ms - self.from_ms
        tick = next((step for step in _AXIS_STEPS_MS if span / step <= 12), _AXIS_STEPS_MS[-1])
        bottom = self.y
        self.level(bottom, "#111", "none")
        time = -(-self.from_ms // tick) * tick + 0.0
        while time <= self.to_ms:
            x = self.x(time)
            self.parts.append(f'<path d="M{x:.1f} {bottom:.1f}v4" stroke="#111" stroke-width="0.8"/>')
            self.words(x, bottom + 14, f"{time:g}", "middle")
            time += tick
        self.words(LEFT - 8, bottom + 14, "ms")
        self.y = bottom + 20

    def svg(self, title: str, description: str) -> str:
        return (
            f'<svg viewBox="0 0 {WIDTH:g} {self.y:g}" role="img" xmlns="http://www.w3.org/2000/svg">'
            f"<title>{escape(title)}</title><desc>{escape(description)}</desc>{''.join(self.parts)}</svg>"
        )


def byte_diagram(byte: Mapping[str, Any], table: Mapping[str, Any]) -> str:
    """One byte.

    Args:
        byte: as ``receivers.relays.one_byte`` makes it.
        table: its table, as ``receivers.relays.timing_record`` makes it.
    """
    drawing = _Drawing(byte["from_ms"], byte["to_ms"])
    drawing.y = 28.0
    edges = [*byte["steps_ms"], byte["end_ms"]]
    for step, (start, end) in enumerate(pairwise(edges), 1):
        middle = (drawing.x(start) + drawing.x(end)) / 2
        drawing.words(middle, 11, f"{step}", "middle")
        drawing.words(middle, 23, said_in_step(byte, step), "middle")
    drawing.words(LEFT - 8, 11, "step")
    drawing.words(LEFT - 8, 23, "bit")
    for track in byte["tracks"]:
        _envelope(drawing, track)
        _current(drawing, track, 46.0)
        _contact(drawing, track)
    for number, which in enumerate(("odd", "even")):
        drawing.name(f"{which} step relays", 9)
        for relay in byte["step_relays"][number::2]:
            for start, end in relay["closed_ms"]:
                drawing.box(start, end, 9, "#fff", "#111")
        drawing.y += 13
    drawing.y += 4
    for line, told in zip(byte["lines"], table["lines"], strict=True):
        drawing.name(in_one_line(line["name"], _LONGEST_NAME), 11)
        for step in told["steps"]:
            drawing.box(edges[step - 1], edges[step], 15, "#e4e4e4", drop=-2)
        for start, end in line["closed_ms"]:
            drawing.box(start, end, 11, _GREEN)
        drawing.y += 18
    for edge in edges:
        drawing.upright(edge, 27, drawing.y)
    drawing.axis()
    return drawing.svg("One byte to scale", "Tape, coil currents, contacts and lines over the time of one byte.")


def said_in_step(byte: Mapping[str, Any], step: int) -> str:
    """The bits that one step of the byte says, in the order heard; empty after the last.

    >>> said_in_step({"bits": [1, 1, 0, 1], "bits_a_step": 2}, 2)
    '01'
    """
    width = byte["bits_a_step"]
    return "".join(map(str, byte["bits"][width * (step - 1) : width * step]))


def step_diagram(byte: Mapping[str, Any]) -> str:
    """One step, near enough to see the waveform and the bounce."""
    near = byte["closeup"]
    drawing = _Drawing(near["from_ms"], near["to_ms"])
    drawing.y = 4.0
    for track in near["tracks"]:
        height = 40.0
        drawing.name(f"{track['role']} on tape", height)
        middle, tallest = drawing.y + height / 2, _most(track["wave"]) or 1.0
        points = ((drawing.x(time), middle - value / tallest * height / 2) for time, value in track["wave"])
        drawing.curve(points, _GREY, width=0.6)
        drawing.y += height + 4
        _current(drawing, track, 70.0)
        _contact(drawing, track)
    start = byte["steps_ms"][near["step"] - 1]
    for edge in (start, start + (byte["end_ms"] - byte["steps_ms"][-1])):
        drawing.upright(edge, 0, drawing.y)
    drawing.axis()
    return drawing.svg(f"Step {near['step']} to scale", "Waveform, coil current and contact of both tracks.")


def _envelope(drawing: _Drawing, track: Mapping[str, Any]) -> None:
    height = 26.0
    drawing.name(f"{track['role']} on tape", height)
    middle, tallest = drawing.y + height / 2, _most(track["envelope"]) or 1.0
    above = [(drawing.x(time), middle - value / tallest * height / 2) for time, value in track["envelope"]]
    below = [(x, 2 * middle - y) for x, y in reversed(above)]
    drawing.curve([*above, *below], _GREY, "#bbb", 0.5)
    drawing.y += height + 4


def _current(drawing: _Drawing, track: Mapping[str, Any], height: float) -> None:
    drawing.name(f"{track['role']} coil, mA", height)
    tallest = max(_most(track["current_ma"]), track["pick_up_ma"]) * 1.05
    base = drawing.y + height

    def at(value: float) -> float:
        return float(base - value / tallest * height)

    drawing.level(base, "#999", "none")
    for key, dashes, word in (("pick_up_ma", "7 2", "in"), ("drop_out_ma", "2 2", "out")):
        drawing.level(at(track[key]), _RED, dashes)
        drawing.words(LEFT + 2, at(track[key]) - 2, f"{word} {track[key]:.1f}", "start", "#9c4400")
    drawing.curve(((drawing.x(time), at(value)) for time, value in track["current_ma"]), _BLUE)
    drawing.y = base + 5


def _contact(drawing: _Drawing, track: Mapping[str, Any]) -> None:
    drawing.name(f"{track['role']} contact", 9)
    for start, end in track["closed_ms"]:
        drawing.box(start, end, 9, "#111")
    drawing.y += 20


def _most(points: Sequence[Sequence[float]]) -> float:
    return max((abs(float(value)) for _, value in points), default=0.0)
