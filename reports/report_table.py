"""The table of a report: every row with its figures, complete without a script; with one it sorts and filters."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from html import escape
from typing import Any

from .page_elements import breakable, duration, shown
from .report_words import byte_error, main_cause, names, success

_LONGEST_NAME = 200
_LONGEST_CHOICE = 60
_SOMETIMES = (("program", "program"), ("receiver", "heard by"))
"""Columns that stand in the table where the rows differ in them."""


def table_section(rows: Sequence[Mapping[str, Any]], evidence: Sequence[Mapping[str, Any]]) -> Iterator[str]:
    """The section."""
    distinguished = [key for key, _ in _SOMETIMES if len(names(rows, key)) > 1]
    heads = [("codec", ""), *((dict(_SOMETIMES)[key], "") for key in distinguished), ("channel", "")]
    heads += [("useful bytes/s", "n")]
    heads += [("of the limit", "n"), ("tape time", "n"), ("right", "n"), ("detected", "n"), ("silent", "n")]
    heads += [("load success, 95 % interval", "n"), ("residual byte error, 95 % interval", "n"), ("lost to", "")]
    heads += [("decoder", ""), ("frontier", "")]
    yield '<section id="rows"><h2>All rows</h2><div class="filters screen" id="filters" hidden>'
    yield '<label>Show rows with <input type="search" id="filter-text" placeholder="any word"></label>'
    yield f'<label>channel <select id="filter-channel">{_options(names(rows, "channel"))}</select></label>'
    yield '<label><input type="checkbox" id="filter-frontier"> only the frontier</label>'
    yield '<span id="filter-count" aria-live="polite"></span></div>'
    yield '<div class="scrolls" tabindex="0"><table id="table"><thead><tr>'
    yield "".join(f'<th scope="col"{_kind(kind)}>{head}</th>' for head, kind in heads) + "</tr></thead><tbody>"
    for place, (row, entry) in enumerate(zip(rows, evidence, strict=True)):
        yield _row(place, row, entry, distinguished)
    yield "</tbody></table></div>"
    refused = [row for row in rows if not row["trials"]]
    if refused:
        reasons = dict.fromkeys((row["codec"], row["receiver"], row["stop"]) for row in refused)
        told = "".join(f"<li>{', '.join(map(shown, who))}: {shown(stop)}</li>" for *who, stop in reasons)
        yield f"<p>Rows without a tape:</p><ul>{told}</ul>"
    yield "<h3>The formats in full</h3><dl>"
    for name in names(rows, "codec"):
        spec = next(row["codec_spec"] for row in rows if row["codec"] == name)
        yield f'<dt>{shown(name, _LONGEST_NAME)}</dt><dd class="spec">{breakable(spec)}</dd>'
    yield "</dl></section>"


def _row(place: int, row: Mapping[str, Any], entry: Mapping[str, Any], distinguished: Sequence[str]) -> str:
    share = row.get("share_of_capacity")
    estimate, error = row["load_success"], row["residual_byte_error_rate"]
    cells: list[tuple[str, object, str]] = [(shown(row["codec"], _LONGEST_NAME), row["codec"], "")]
    cells += [
        *((shown(row[key], _LONGEST_NAME), row[key], "") for key in distinguished),
        (shown(row["channel"], _LONGEST_NAME), row["channel"], ""),
        (f"{row['useful_bytes_per_s']:.1f}", row["useful_bytes_per_s"], "n"),
        ("-" if share is None else f"{100 * share:.2g} %", -1 if share is None else share, "n"),
        (shown(duration(row["tape_s"])), row["tape_s"], "n"),
        (f"{row['right']}", row["right"], "n"),
        (f"{row['detected']}", row["detected"], "n"),
        (f"{row['silent']}", row["silent"], "n"),
        (shown(success(row)), -1 if estimate is None else estimate["rate"], "n"),
        (shown(byte_error(row)), 2 if error is None else error["rate"] or error["high"] / 1e6, "n"),
        (shown(main_cause(entry)), main_cause(entry), ""),
        (shown(row["needs"]), row["needs"], ""),
        ("on it" if row["on_frontier"] else "", int(not row["on_frontier"]), ""),
    ]
    told = "".join(
        f'<{"td" if number else "th scope=row"}{_kind(kind)} data-sort="{escape(str(value))}">{text}'
        f"</{'td' if number else 'th'}>"
        for number, (text, value, kind) in enumerate(cells)
    )
    return f'<tr data-row="{place}" data-channel="{escape(row["channel"])}">{told}</tr>'


def _kind(kind: str) -> str:
    return f' class="{kind}"' if kind else ""


def _options(values: Sequence[str]) -> str:
    listed = "".join(f'<option value="{escape(value)}">{shown(value, _LONGEST_CHOICE)}</option>' for value in values)
    return f'<option value="">every</option>{listed}'
