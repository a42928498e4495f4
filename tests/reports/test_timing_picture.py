"""Lines against steps as a picture."""

from __future__ import annotations

import copy
import re
from pathlib import Path
from typing import Any

import pytest
from tapewright.contracts import registry
from tapewright.receivers.relays.one_byte import one_byte
from tapewright.receivers.relays.relay_set import load_set
from tapewright.receivers.relays.table import load_table
from tapewright.receivers.relays.timing_record import table_record
from tapewright.reports.timing_picture import save_timing, timing_figure


@pytest.fixture(scope="module")
def drawn() -> tuple[dict[str, Any], dict[str, Any]]:
    code, relays, table = registry.codec("plain-clocked").line_code, load_set("graded_12v"), load_table("clock_tower")
    record = {
        "set": {"name": relays.name},
        "table": table_record(table),
        "step_ms": 60.0,
        "shortest_step_ms": 48.0,
        "margins": [{"path": "arm", "where": "after step 1", "margin_ms": 1.0}],
        "hazards": [],
    }
    return record, one_byte(code, relays, table)


def test_every_line_has_its_row_and_every_step_its_number(drawn: tuple[dict[str, Any], dict[str, Any]]) -> None:
    record, byte = drawn
    (axes,) = timing_figure(record, byte).axes
    names = [label.get_text() for label in axes.get_yticklabels()]
    assert names[-5:] == ["address out", "data out", "write", "count", "clear"]
    assert names[0] == "clock contact (left)"
    numbers = [int(text.get_text().split()[0]) for text in axes.texts if re.match(r"\d", text.get_text())]
    assert numbers == list(range(1, 13))
    bars = {(round(bar.get_x(), 3), round(bar.get_x() + bar.get_width(), 3)) for bar in axes.patches}
    for line in byte["lines"]:
        for start, end in line["closed_ms"]:
            assert (round(start, 3), round(end, 3)) in bars


def test_a_hazard_is_hatched_and_named_in_the_legend(drawn: tuple[dict[str, Any], dict[str, Any]]) -> None:
    record, byte = copy.deepcopy(drawn)
    assert not any(bar.get_hatch() for bar in timing_figure(record, byte).axes[0].patches)
    record["table"]["lines"][0]["sneaked_steps"] = [12]
    record["hazards"] = [{"kind": "sneak path", "step": 12, "lines": ["count"], "text": "fed backwards"}]
    figure = timing_figure(record, byte)
    assert sum(bool(bar.get_hatch()) for bar in figure.axes[0].patches) == 1
    assert "hazard" in [text.get_text() for text in figure.legends[0].get_texts()]


@pytest.mark.parametrize("picture_format", ["png", "svg"])
def test_the_same_timing_gives_the_same_file_even_with_a_strange_name(
    drawn: tuple[dict[str, Any], dict[str, Any]], tmp_path: Path, picture_format: str
) -> None:
    record, byte = copy.deepcopy(drawn)
    record["table"]["name"] = "$\\frac{1}{$ \x1b[31m 塔"
    record["table"]["lines"][4]["name"] = "$_$"
    for name in ("one", "two"):
        save_timing(record, byte, tmp_path / name, picture_format)
    one, two = ((tmp_path / name).read_bytes() for name in ("one", "two"))
    if picture_format == "svg":
        # Clip paths are named by a random salt; what is drawn is not.
        one, two = (re.sub(rb'(id="|url\(#|xlink:href="#)\w+', b"", content) for content in (one, two))
    assert one == two
