"""Rows: the records of an answer as CSV or JSON text."""

from __future__ import annotations

import csv
import io
import json
import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from ..contracts.errors import UsageError, in_one_line
from .records import Record

FORMATS = ("csv", "json")

_FORMULAS = ("=", "+", "-", "@")
_SEPARATORS = ("\t", "\r")
"""How a cell begins that spreadsheets take for a formula (OWASP, CSV Injection)."""

_NUMBER = re.compile(r"[+-]?[0-9]+(\.[0-9]*)?(e[+-]?[0-9]+)?", re.ASCII | re.IGNORECASE)


def row_format(path: Path) -> str:
    """The format that a file's name asks for.

    Raises:
        UsageError: neither.
    """
    wanted = path.suffix.lower().removeprefix(".")
    if wanted not in FORMATS:
        raise UsageError(f"export '{in_one_line(path)}' must end in .csv or .json.")
    return wanted


def rows_as_json(rows: Sequence[Record]) -> str:
    """A list of records."""
    return json.dumps([row.as_json() for row in rows], indent=2, allow_nan=False) + "\n"


def rows_as_csv(rows: Sequence[Record]) -> str:
    """One line a record under a line of names (RFC 4180); nested figures stand under dotted names, None is empty.

    Control characters in a name are shown as they are in a table, and a text that a spreadsheet would run as a formula
    (such as ``@mine.toml``) stands behind an apostrophe; the JSON has both as they are.
    """
    flat = [_flat(row.as_json()) for row in rows]
    names = list(dict.fromkeys(name for row in flat for name in row))
    text = io.StringIO(newline="")
    table = csv.DictWriter(text, names, restval="")
    table.writeheader()
    table.writerows(flat)
    return text.getvalue()


def _flat(told: Mapping[str, Any], before: str = "") -> dict[str, Any]:
    found: dict[str, Any] = {}
    for name, value in told.items():
        if isinstance(value, Mapping):
            found |= _flat(value, f"{before}{name}.")
        elif isinstance(value, list | tuple):
            found[f"{before}{name}"] = _cell("; ".join(map(str, value)))
        elif isinstance(value, str):
            found[f"{before}{name}"] = _cell(value)
        else:
            found[f"{before}{name}"] = str(value).lower() if isinstance(value, bool) else value
    return found


def _cell(text: str) -> str:
    shown = in_one_line(text, len(text) + 1)
    runs = text.lstrip().startswith(_FORMULAS) or text.startswith(_SEPARATORS)
    return f"'{shown}" if runs and not _NUMBER.fullmatch(shown) else shown
