"""A timing as lines of text: does it close, what limits it, and every margin."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

_NUMBERED = re.compile(r"^(.*?)(\d+)$")


def lines(record: Mapping[str, Any]) -> Iterator[str]:
    """Line by line.

    Args:
        record: as ``receivers.relays.timing_record`` makes it.
    """
    yield verdict(record)
    limiting = record["limiting"]
    if record["shortest_step_ms"] is None:
        yield f"No step up to {record['tried_up_to_ms']:g} ms closes. In the way at {record['step_ms']:g} ms:"
    else:
        yield f"Shortest step that closes in the worst corner: {record['shortest_step_ms']:.2f} ms. What limits it:"
    yield f"  {limiting['path']}, {limiting['where']}: {limiting['what']}"
    yield f"  where: {limiting['corner']}"
    yield ""
    yield f"Margins at {record['step_ms']:g} ms, each in its own worst corner, ms (0.1 ms guard taken off):"
    yield f"{'spare':>9} {'have':>9} {'need':>9}  path"
    for row in together(record["margins"]):
        yield _row(row)
    if record["recovery"] is not None:
        yield ""
        yield "Needed only after a lost clock, never on a tape without dropouts:"
        yield _row(record["recovery"])
    yield ""
    if not record["hazards"]:
        yield "Hazards: none."
    else:
        yield f"Hazards: {len(record['hazards'])}, whatever the step:"
        for hazard in record["hazards"]:
            yield f"  {hazard['kind']}: {hazard['text']}"


def verdict(record: Mapping[str, Any]) -> str:
    """One line: whether the step closes, and with how much to spare."""
    names = f"table {record['table']['name']}, set {record['set']['name']}"
    tightest = record["margins"][0]
    if not record["closes"]:
        return f"A step of {record['step_ms']:g} ms does NOT close ({names}): {short(tightest)}."
    spare = f"{tightest['margin_ms']:.1f} ms to spare on its tightest path"
    if record["hazards"]:
        return f"A step of {record['step_ms']:g} ms closes ({names}), with {spare}, but there are hazards."
    return f"A step of {record['step_ms']:g} ms closes ({names}), with {spare}."


def short(margin: Mapping[str, Any]) -> str:
    """A margin in a few words.

    >>> short({"path": "arm", "where": "after step 2", "margin_ms": -1.26})
    'arm, after step 2, lacks 1.3 ms'
    """
    where = f"{margin['path']}, {margin['where']},"
    if margin["margin_ms"] is None:
        return f"{where} never happens"
    if margin["margin_ms"] < 0:
        return f"{where} lacks {-margin['margin_ms']:.1f} ms"
    return f"{where} has {margin['margin_ms']:.1f} ms to spare"


def together(margins: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """The same margins with those that differ only in a number, and by less than 0.05 ms, in one row."""
    rows: list[dict[str, Any]] = []
    places: dict[tuple[Any, ...], tuple[int, list[int]]] = {}
    for margin in margins:
        found = _NUMBERED.match(margin["where"])
        figures = tuple(None if margin[key] is None else round(margin[key], 1) for key in ("need_ms", "have_ms"))
        key = (margin["path"], found[1] if found else margin["where"], *figures)
        if found and key in places:
            place, numbers = places[key]
            numbers.append(int(found[2]))
            rows[place]["where"] = found[1] + runs(numbers)
            continue
        if found:
            places[key] = (len(rows), [int(found[2])])
        rows.append(dict(margin))
    return rows


def runs(numbers: Sequence[int]) -> str:
    """Numbers with their neighbours drawn together.

    >>> runs([5, 2, 3, 9])
    '2-3, 5, 9'
    """
    told: list[list[int]] = []
    for number in sorted(numbers):
        if told and number == told[-1][1] + 1:
            told[-1][1] = number
        else:
            told.append([number, number])
    return ", ".join(str(first) if first == last else f"{first}-{last}" for first, last in told)


def _row(margin: Mapping[str, Any]) -> str:
    figures = " ".join(f"{_figure(margin[key]):>9}" for key in ("margin_ms", "have_ms", "need_ms"))
    mark = "" if margin["closes"] else "   <- does not close"
    return f"{figures}  {margin['path']}, {margin['where']}: {margin['what']}{mark}"


def _figure(value: float | None) -> str:
    return "never" if value is None else f"{value:.1f}"
