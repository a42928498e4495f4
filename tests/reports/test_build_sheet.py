"""The build sheet: self-contained, safe, complete, and its diagram to scale."""

from __future__ import annotations

import copy
import re
from html.parser import HTMLParser
from itertools import combinations, pairwise
from typing import Any

import pytest
from tapewright.contracts import registry
from tapewright.receivers.relays.build_record import build_record
from tapewright.receivers.relays.one_byte import one_byte
from tapewright.receivers.relays.relay_set import load_set
from tapewright.receivers.relays.table import load_table
from tapewright.reports.build_sheet import build_sheet
from tapewright.reports.cautions import allowed_minutes, cautions
from tapewright.reports.sheet_style import STYLE
from tapewright.reports.timing_diagram import LEFT, RIGHT, WIDTH, byte_diagram, said_in_step, step_diagram

HOSTILE = "</title><script>alert('\"')</script><img src=x onerror=alert(1)>\n\x1b[31m&amp;"
VOID = {"meta", "br", "img", "link", "input"}


class Reader(HTMLParser):
    """Tags as a browser would see them; every element must be closed where it belongs."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.told: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.told.append(data)


def read(page: str) -> Reader:
    reader = Reader()
    reader.feed(page)
    reader.close()
    assert reader.open == []
    return reader


@pytest.fixture(scope="module")
def built() -> dict[str, Any]:
    code = registry.codec("plain-clocked").line_code
    return build_record(code, load_set("graded_12v"), load_table("clock_tower"), 100)


@pytest.fixture
def record(built: dict[str, Any]) -> dict[str, Any]:
    return {
        "codec": "plain-clocked",
        "receiver": "relays:set=graded_12v",
        "channel": "ordinary-played",
        "codec_spec": "clocked",
        "receiver_spec": "relays",
        "channel_spec": "",
        "program": "chime",
        "program_sha256": "00",
        "payload_bytes": 100,
        "tape_s": 77.7,
        "seed": 1,
        "version": "tapewright 0",
        "build": copy.deepcopy(built),
        "checks": {"catches": ["any odd number of wrong bits"], "misses": ["any even number"]},
        "load": {
            "rate": 0.975,
            "low": 0.8684,
            "high": 0.9994,
            "method": "Clopper-Pearson 95 % two-sided",
            "trials": 40,
            "right": 39,
            "detected": 0,
            "silent": 1,
            "useful_bytes_per_s": 1.287,
        },
    }


def test_the_page_fetches_nothing_and_runs_nothing(record: dict[str, Any]) -> None:
    page = build_sheet(record)
    reader = read(page)
    assert not {tag for tag, _ in reader.tags} & {"script", "link", "img", "iframe", "object", "form", "a", "base"}
    for tag, attributes in reader.tags:
        assert not {"src", "href", "xlink:href"} & attributes.keys(), tag
        assert not any(name.startswith("on") for name in attributes)
    # The name of SVG's namespace is the only address, and nobody fetches it.
    assert set(re.findall(r"https?://[^\"'\s<]*", page)) == {"http://www.w3.org/2000/svg"}
    assert "url(" not in page
    assert "@import" not in page
    assert "@page { size: A4" in page


def test_names_of_strangers_are_shown_and_never_obeyed(record: dict[str, Any]) -> None:
    harmless = [tag for tag, _ in read(build_sheet(record)).tags]
    for key in ("program", "codec_spec", "receiver_spec", "channel", "channel_spec", "version"):
        record[key] = HOSTILE
    timed = record["build"]["timing"]
    timed["table"]["title"] = timed["table"]["name"] = timed["set"]["title"] = timed["set"]["name"] = HOSTILE
    for line, drawn in zip(timed["table"]["lines"], record["build"]["byte"]["lines"], strict=True):
        line["name"] = drawn["name"] = HOSTILE
        line["uses"] = [HOSTILE] if line["uses"] else []
    for coil in record["build"]["coils"]:
        coil["kind"] = HOSTILE
    for entry in record["build"]["parts"]["relays"]:
        entry["kind"] = entry["purpose"] = HOSTILE
    for margin in timed["margins"]:
        margin["where"] = HOSTILE
    reader = read(build_sheet(record))
    assert [tag for tag, _ in reader.tags if tag not in ("tr", "td")] == [
        tag for tag in harmless if tag not in ("tr", "td")
    ]
    assert "<script>alert('\"')</script>" in "".join(reader.told)
    assert "\x1b" not in build_sheet(record)


def test_every_part_that_was_asked_for_is_there(record: dict[str, Any]) -> None:
    told = " ".join("".join(read(build_sheet(record)).told).split())
    for words in (
        "Bridge-output amplifiers must never share a ground",
        "nor feed a half-wave rectifier",
        "Clamp every switched coil.",
        "Fuse the supply.",
        "Local codes.",
        "Extra-low voltage only.",
        "Mains-powered equipment.",
        "Hot coils.",
        "85 dBA over 8 hours",
        "NIOSH",
        "3000 Hz",
        "Shortest step that closes",
        "Largest reservoir",
        "39 loaded right",
        "97.5 % (86.8 to 99.9)",
        "Clopper-Pearson",
        "1 min 18 s",
        "line-up tone",
    ):
        assert words in told, words
    parts = record["build"]["parts"]
    assert f"{parts['relay_count']} relays" in told
    assert sum(parts["by_poles"].values()) == parts["relay_count"] == sum(one["count"] for one in parts["relays"])


def test_hazards_and_a_step_that_does_not_close_stand_at_the_top(record: dict[str, Any]) -> None:
    timed = record["build"]["timing"]
    assert "Do not build" not in build_sheet(record)
    timed["closes"] = False
    timed["margins"][0].update(margin_ms=None, closes=False)
    timed["shortest_step_ms"] = None
    timed["hazards"] = [{"kind": "two drivers", "step": 9, "lines": ["a", "b"], "text": "step 9: 'a' and 'b' both"}]
    page = build_sheet(record)
    assert page.index("Do not build this as it is.") < page.index("1. Before anything else")
    assert page.index("two drivers: step 9:") < page.index("1. Before anything else")
    assert "never" in page


def test_rails_have_no_clock_burst_and_no_lead(record: dict[str, Any]) -> None:
    assert "data leads the clock by" in build_sheet(record)
    record["build"]["keying"].update(roles={"left": "zero", "right": "one"}, mark_ms=None)
    record["build"]["line_up"]["reset_delay_ms"] = None
    page = build_sheet(record)
    assert "zero on the left track, one on the right" in page
    assert "data leads the clock by" not in page
    assert "reset mark: first" not in page


def test_the_diagram_is_to_scale(built: dict[str, Any]) -> None:
    byte = built["byte"]
    width_a_ms = (WIDTH - LEFT - RIGHT) / (byte["to_ms"] - byte["from_ms"])
    drawing = byte_diagram(byte, built["timing"]["table"])
    boxes = {
        (float(x), float(width))
        for x, width in re.findall(r'<rect x="([\d.]+)" y="[\d.]+" width="([\d.]+)" [^>]*fill="#111"', drawing)
    }
    closed = [interval for track in byte["tracks"] for interval in track["closed_ms"]]
    assert len(closed) > 12
    for start, end in closed:
        x, width = LEFT + (start - byte["from_ms"]) * width_a_ms, max((end - start) * width_a_ms, 0.4)
        assert any(abs(x - at) < 0.02 and abs(width - wide) < 0.02 for at, wide in boxes)
    assert read(drawing).open == []
    assert read(step_diagram(byte)).open == []


def test_hearing_limits_are_the_published_ones() -> None:
    # NIOSH, Criteria for a Recommended Standard: Occupational Noise Exposure (98-126, 1998), table 1-1.
    published = {85: 480, 88: 240, 91: 120, 94: 60, 97: 30, 100: 15}
    for level, minutes in published.items():
        assert allowed_minutes(level) == pytest.approx(minutes)
    # A dose of 200 % is an eight-hour average of 88.0 dBA (the same, exchange rate of 3 dB).
    assert 8 * 60 / allowed_minutes(88.0) == pytest.approx(2.0)


def test_a_half_wave_rectifier_and_a_bare_coil_get_their_own_warning(built: dict[str, Any]) -> None:
    build = copy.deepcopy(built)
    assert "single-ended amplifier or a transformer only" not in " ".join(text for _, text in cautions(build))
    build["front_end"]["rectifier"] = "half"
    build["coils"][1].update(clamped=False, clamp="none")
    told = dict(cautions(build))
    assert "single-ended amplifier or a transformer only" in told["Bridge-output amplifiers."]
    assert "coils without a clamp" in told["Clamp every switched coil."]


def test_colours_differ_for_every_kind_of_colour_vision() -> None:
    # Dichromats, in linear RGB: F. Vienot, H. Brettel, J. Mollon, Color Research & Application 24 (1999) 243-252
    # (protan and deutan); the matrices for sRGB from memory.
    kinds = {
        "protan": ((0.11238, 0.88762, 0.0), (0.11238, 0.88762, 0.0), (0.00401, -0.00401, 1.0)),
        "deutan": ((0.29275, 0.70725, 0.0), (0.29275, 0.70725, 0.0), (-0.02234, 0.02234, 1.0)),
    }
    used = dict(re.findall(r"--(blue|red|green): (#\w{6})", STYLE))
    assert len(used) == 3

    def linear(colour: str) -> list[float]:
        return [(int(colour[place : place + 2], 16) / 255) ** 2.2 for place in (1, 3, 5)]

    for matrix in kinds.values():
        seen = {
            name: [sum(a * b for a, b in zip(row, linear(colour), strict=True)) for row in matrix]
            for name, colour in used.items()
        }
        for one, other in combinations(seen.values(), 2):
            assert max(abs(a - b) for a, b in zip(one, other, strict=True)) > 0.1


def test_steps_of_the_table_stand_where_they_belong(record: dict[str, Any]) -> None:
    page = build_sheet(record)
    lines = record["build"]["timing"]["table"]["lines"]
    body = page[page.index('<table class="steps">') :]
    for line in lines:
        row = re.search(rf"<tr><td>{re.escape(line['name'])}</td>(.*?)</tr>", body)
        assert row is not None
        cells = re.findall(r"<td[^>]*>(.*?)</td>", row[1])
        assert [step for step, cell in enumerate(cells, 1) if cell] == line["steps"]
    headings = [int(number) for number in re.findall(r"<h2>(\d+)\.", page)]
    assert all(after == before + 1 for before, after in pairwise(headings))


@pytest.fixture(scope="module")
def voted() -> dict[str, Any]:
    machine, stack = registry.receiver("relays:set=graded_12v"), registry.codec("vote/clocked:group_bits=24")
    return build_record(stack.line_code, *machine.wiring(stack), 100)


def test_many_steps_have_room_beside_each_other(record: dict[str, Any], voted: dict[str, Any]) -> None:
    record["build"] = voted
    page = build_sheet(record)
    assert voted["timing"]["table"]["steps"] == 28
    assert '<td class="on">h</td>' in page
    assert '<td class="on">held</td>' not in page
    drawn = byte_diagram(voted["byte"], voted["timing"]["table"])
    for height in ("11.0", "23.0"):
        # A digit of the page's sans-serif at 10 px is 6.4 px wide (DejaVu Sans: 1303 of 2048 units).
        texts = [
            (float(x), 6.4 * len(text))
            for x, text in re.findall(rf'<text x="([\d.]+)" y="{height}" text-anchor="middle"[^>]*>(\d+)<', drawn)
        ]
        assert len(texts) in (24, 28)
        for (one, width), (other, next_width) in pairwise(texts):
            assert other - one > 0.5 * (width + next_width)


def test_the_highest_tone_stands_on_the_sheet_rounded_down(record: dict[str, Any]) -> None:
    record["build"]["front_end"].update(top_tone_hz=8_990.0, leakage_mh=5.0)
    page = build_sheet(record)
    assert "<td>8900 Hz (computed)</td>" in page
    assert "15 us of recovery" in page
    assert "5 mH of leakage" in page


def test_the_checks_say_what_they_catch_and_miss(record: dict[str, Any]) -> None:
    page = build_sheet(record)
    assert "The check <b>catches</b> any odd number of wrong bits." in page
    assert "The check <b>misses</b> any even number." in page


def test_a_second_bank_is_drawn_at_work_and_two_bits_a_step_stand_together(record: dict[str, Any]) -> None:
    for spec, codec in (
        ("relays:set=signal_12v,table=clock_tower_overlapped", "clocked:extra_steps=2"),
        ("relays:set=graded_12v", "two_tone_rails"),
    ):
        machine, stack = registry.receiver(spec), registry.codec(codec)
        byte = one_byte(stack.line_code, *machine.wiring(stack))
        # Every line of the machine moves in the byte that is shown.
        assert all(line["closed_ms"] for line in byte["lines"])
    assert [said_in_step(byte, step) for step in range(1, 6)] == ["11", "01", "00", "10", ""]
