"""An answer that stands in a file: the rows of a comparison or a choice as JSON, or a study's store."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ..contracts.errors import UsageError, in_one_line
from ..contracts.named_file import opened
from .sqlite_file import MAGIC as SQLITE

MOST_BYTES = 64 << 20
MOST_ROWS = 2000
_MOST_DIGITS = 30

_WORDS = (
    *("codec", "receiver", "channel", "codec_spec", "receiver_spec", "channel_spec"),
    *("needs", "program", "program_sha256", "stop"),
)
_COUNTS = ["payload_bytes", "trials", "right", "detected", "silent", "seed", "sample_rate_hz"]
_FIGURES = ("tape_s", "useful_bytes_per_s")
_ESTIMATES = ("load_success", "residual_byte_error_rate")
_ROW_LISTS = ("rows", "records")
_WANTED = "name a study's store, or what 'compare --json' or 'choose --json' printed"


@dataclass(frozen=True)
class Answer:
    """What a file holds.

    Attributes:
        rows: as ``Record.as_json`` writes them.
        programs: the payloads that it brings along.
        verdict: sentences of a choice; empty for a comparison.
    """

    rows: tuple[dict[str, Any], ...]
    programs: tuple[bytes, ...] = ()
    verdict: tuple[str, ...] = ()


def read_answer(path: Path) -> Answer:
    """The answer in the file at ``path``.

    Raises:
        UsageError: no such file, neither JSON nor a store, no rows, or rows that lack what a row holds.
    """
    shown = f"source '{in_one_line(path, 120)}'"
    with opened(path, "source") as file:
        content = file.read(MOST_BYTES + 1)
    if content.startswith(SQLITE):
        return _stored(path)
    if not content.strip():
        raise UsageError(f"{shown} is empty; {_WANTED}.")
    if len(content) > MOST_BYTES:
        raise UsageError(f"{shown} must be at most {MOST_BYTES >> 20} MiB.")
    if content.lstrip()[:1] not in (b"[", b"{"):
        raise UsageError(f"{shown} is neither rows in JSON nor a study's store; {_WANTED}.")
    try:
        told = json.loads(content, parse_constant=_not_finite, parse_float=_finite, parse_int=_in_bounds)
        json.dumps(told, ensure_ascii=False).encode("utf-8")  # half a character alone could not be written into a page
    except RecursionError:
        raise UsageError(f"{shown} is not JSON: its brackets are nested too deep; {_WANTED}.") from None
    except UnicodeEncodeError:
        raise UsageError(f"{shown} holds half a character, a surrogate alone; {_WANTED}.") from None
    except ValueError as error:
        raise UsageError(f"{shown} is not JSON: {in_one_line(error)}; {_WANTED}.") from None
    return _answered(told, shown)


def _stored(path: Path) -> Answer:
    from .stored_study import answer

    records = answer(path)
    programs = tuple(dict.fromkeys(record.study.program for record in records))
    if not records:
        told = "'tapewright study run' plays some"
        raise UsageError(f"source '{in_one_line(path, 120)}' holds no rows yet; {told}.")
    return Answer(tuple(record.as_json() for record in records), programs)


def _answered(told: Any, shown: str) -> Answer:
    verdict: list[str] = []
    rows = told
    if isinstance(told, Mapping):
        rows = next((told[key] for key in _ROW_LISTS if isinstance(told.get(key), list)), None)
        sentences = told.get("sentences", [])
        if isinstance(sentences, list):
            verdict = [sentence for sentence in sentences if isinstance(sentence, str)]
    if not isinstance(rows, list) or not rows:
        raise UsageError(f"{shown} holds no rows; {_WANTED}.")
    if len(rows) > MOST_ROWS:
        raise UsageError(f"{shown} must hold at most {MOST_ROWS} rows, not {len(rows)}.")
    return Answer(tuple(_row(row, f"{shown}, row {number}") for number, row in enumerate(rows, 1)), (), tuple(verdict))


def _row(row: Any, shown: str) -> dict[str, Any]:
    if not isinstance(row, dict):
        raise UsageError(f"{shown} must be an object, not {in_one_line(json.dumps(row), 60)}.")
    for key in _WORDS:
        _check(row, key, isinstance(row.get(key), str), "text", shown)
    for key in _COUNTS:
        value = row.get(key)
        _check(row, key, type(value) is int and value >= 0, "a whole number of at least 0", shown)
    for key in _FIGURES:
        _check(row, key, _is_positive(row.get(key)), "a number above 0", shown)
    for key in _ESTIMATES:
        _check(row, key, _is_estimate(row.get(key)) is (row["trials"] > 0), "a rate with its interval", shown)
    _check(row, "on_frontier", isinstance(row.get("on_frontier"), bool), "true or false", shown)
    ended = row["right"] + row["detected"] + row["silent"]
    _check(row, "trials", ended == row["trials"], f"the sum of right, detected and silent, {ended}", shown)
    for key in ("versions", "machine"):
        _check(row, key, isinstance(row.get(key), dict), "an object", shown)
    for key in ("capacity_bits_per_s", "limit_bits_per_s", "share_of_capacity"):
        _check(row, key, row.get(key) is None or _is_positive(row[key]), "null or a number above 0", shown)
    return row


def _check(row: Mapping[str, Any], key: str, holds: bool, rule: str, shown: str) -> None:
    if not holds:
        value = in_one_line(json.dumps(row.get(key)), 60)
        raise UsageError(f"{shown}: '{key}' must be {rule}, not {value}.")


def _is_positive(told: Any) -> bool:
    return type(told) in (int, float) and told > 0


def _is_estimate(told: Any) -> bool:
    return (
        isinstance(told, dict)
        and all(type(told.get(key)) in (int, float) for key in ("rate", "low", "high"))
        and isinstance(told.get("method"), str)
        and 0 <= told["low"] <= told["rate"] <= told["high"] <= 1
    )


def _not_finite(text: str) -> float:
    raise ValueError(f"{text} is no number")


def _finite(text: str) -> float:
    value = float(text)
    if not math.isfinite(value):
        raise ValueError(f"{in_one_line(text, 40)} is beyond all numbers")
    return value


def _in_bounds(text: str) -> int:
    if len(text) > _MOST_DIGITS:
        raise ValueError(f"a whole number of {len(text)} digits is too long")
    return int(text)
