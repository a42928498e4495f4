"""A timing as text."""

from __future__ import annotations

from typing import Any

from tapewright.reports.timing_text import lines, runs, together, verdict


def margin(path: str, where: str, need: float | None, have: float | None) -> dict[str, Any]:
    spare = None if need is None or have is None else have - need
    return {
        "path": path,
        "where": where,
        "what": "what it is",
        "need_ms": need,
        "have_ms": have,
        "margin_ms": spare,
        "closes": spare is not None and spare >= 0,
        "corner": "hot windings",
    }


def record(*margins: dict[str, Any], **other: Any) -> dict[str, Any]:
    return {
        "set": {"name": "reed"},
        "table": {"name": "tower"},
        "step_ms": 40.0,
        "closes": all(one["closes"] for one in margins),
        "shortest_step_ms": 36.0,
        "tried_up_to_ms": 2000.0,
        "limiting": margins[0],
        "margins": list(margins),
        "recovery": None,
        "hazards": [],
        **other,
    }


def test_alike_margins_of_numbered_places_share_a_row_and_others_do_not() -> None:
    rows = together(
        [
            margin("arm", "after step 3", 4.0, 6.0),
            margin("arm", "after step 1", 4.0, 6.01),
            margin("arm", "after step 2", 4.0, 6.0),
            margin("arm", "after step 5", 4.0, 7.0),
            margin("latch", "bit 2", 4.0, 6.0),
            margin("write", "'write'", 4.0, 6.0),
            margin("write", "'write'", 4.0, 6.0),
        ]
    )
    assert [row["where"] for row in rows] == ["after step 1-3", "after step 5", "bit 2", "'write'", "'write'"]
    assert runs([12, 1, 2, 4]) == "1-2, 4, 12"


def test_each_verdict_has_its_own_words() -> None:
    fits, fails = margin("arm", "after step 2", 4.0, 6.5), margin("arm", "after step 2", 4.0, 3.0)
    assert verdict(record(fits)) == "A step of 40 ms closes (table tower, set reed), with 2.5 ms to spare on its " \
        "tightest path."  # fmt: skip
    assert verdict(record(fails)) == "A step of 40 ms does NOT close (table tower, set reed): arm, after step 2, " \
        "lacks 1.0 ms."  # fmt: skip
    hazard = {"kind": "two drivers", "step": 9, "lines": [], "text": "step 9: both"}
    assert verdict(record(fits, hazards=[hazard])).endswith("but there are hazards.")
    assert "  two drivers: step 9: both" in list(lines(record(fits, hazards=[hazard])))


def test_what_never_happens_is_said_and_no_shortest_step_is_made_up() -> None:
    never = margin("line", "'write'", None, 3.0)
    told = list(lines(record(never, shortest_step_ms=None)))
    assert told[0].endswith("line, 'write', never happens.")
    assert told[1] == "No step up to 2000 ms closes. In the way at 40 ms:"
    assert any("never" in line and "<- does not close" in line for line in told)
    assert not any("Shortest step" in line for line in told)
