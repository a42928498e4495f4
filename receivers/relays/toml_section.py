"""A section of a TOML file, read key by key, so that whatever is wrong is said with its place in the file."""

from __future__ import annotations

import math
import re
from importlib import resources
from pathlib import Path
from typing import Any

from ...contracts.errors import UsageError, did_you_mean, in_one_line
from ...contracts.named_file import content_of, toml_of
from .spread import Spread

MOST_BYTES = 200_000


class Section:
    """One table of the file.

    Args:
        told: what it holds.
        path: dotted name of the section; empty for the top of the file.
        source: name and text of the whole file, for messages.
    """

    def __init__(self, told: dict[str, Any], path: str, source: tuple[str, str]) -> None:
        self._told = told
        self._path = path
        self._source = source
        self._read: set[str] = set()

    def refusal(self, key: str, rule: str) -> UsageError:
        """The error to raise about ``key``: file, line, section, key, rule."""
        name, text = self._source
        line = _line_of(text, self._path, key)
        where = f"{in_one_line(name, 80)}, line {line}" if line else in_one_line(name, 80)
        dotted = f"{self._path}.{key}" if self._path and key else self._path or key
        return UsageError(f"{where}: '{dotted}' {in_one_line(rule)}")

    def has(self, key: str) -> bool:
        """Whether the file gives ``key``."""
        return key in self._told

    def _take(self, key: str, default: Any) -> Any:
        self._read.add(key)
        if key in self._told:
            return self._told[key]
        if default is None:
            raise self.refusal(key, "is missing.")
        return default

    def number(self, key: str, default: float | None = None, low: float = -math.inf, high: float = math.inf) -> float:
        """A finite number within ``low`` to ``high``."""
        value = self._take(key, default)
        if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
            raise self.refusal(key, f"must be a number, not {value!r}.")
        if not low <= value <= high:
            bounds = f"at least {low:g}" if high == math.inf else f"{low:g} to {high:g}"
            raise self.refusal(key, f"must be {bounds}, not {value:g}.")
        return float(value)

    def whole(self, key: str, default: int | None = None, low: int = 0, high: int = 1 << 30) -> int:
        """A whole number within ``low`` to ``high``."""
        value = self._take(key, default)
        if isinstance(value, bool) or not isinstance(value, int):
            raise self.refusal(key, f"must be a whole number, not {value!r}.")
        if not low <= value <= high:
            raise self.refusal(key, f"must be {low} to {high}, not {value}.")
        return value

    def yes(self, key: str, default: bool) -> bool:
        """True or false."""
        value = self._take(key, default)
        if not isinstance(value, bool):
            raise self.refusal(key, f"must be true or false, not {value!r}.")
        return value

    def word(self, key: str, default: str | None = None, choices: tuple[str, ...] = ()) -> str:
        """A text, one of ``choices`` if there are any."""
        value = self._take(key, default)
        if not isinstance(value, str):
            raise self.refusal(key, f"must be a word in quotes, not {value!r}.")
        if choices and value not in choices:
            raise self.refusal(key, f"must be one of {', '.join(choices)}, not {value}.")
        return value

    def words(self, key: str) -> tuple[str, ...]:
        """A list of words; none if the key is absent."""
        value = self._take(key, [])
        if not isinstance(value, list) or not all(isinstance(entry, str) for entry in value):
            raise self.refusal(key, f"must be a list of words, not {value!r}.")
        return tuple(value)

    def wholes(self, key: str, low: int, high: int) -> tuple[int, ...]:
        """A list of whole numbers within ``low`` to ``high``, each at most once; none if the key is absent."""
        value = self._take(key, [])
        if not isinstance(value, list) or not all(type(entry) is int and low <= entry <= high for entry in value):
            raise self.refusal(key, f"must be a list of whole numbers {low} to {high}, not {value!r}.")
        if len(set(value)) != len(value):
            raise self.refusal(key, f"must name each number once, not {value!r}.")
        return tuple(value)

    def spread(self, key: str) -> Spread:
        """Three ascending numbers above 0: least, typical, most."""
        value = self._take(key, None)
        if not isinstance(value, list) or len(value) != 3 or not all(type(entry) in (int, float) for entry in value):
            raise self.refusal(key, f"must be three numbers [least, typical, most], not {value!r}.")
        try:
            return Spread(*(float(entry) for entry in value))
        except UsageError as error:
            raise self.refusal(key, f"is wrong: {error}") from None

    def section(self, key: str, optional: bool = False) -> Section:
        """The table ``key``; an absent one is empty if ``optional``."""
        value = self._take(key, {} if optional else None)
        if not isinstance(value, dict):
            raise self.refusal(key, f"must be a table [{key}], not {value!r}.")
        return Section(value, f"{self._path}.{key}" if self._path else key, self._source)

    def sections(self, key: str) -> tuple[Section, ...]:
        """The entries of the array of tables ``[[key]]``."""
        value = self._take(key, [])
        if not isinstance(value, list) or not all(isinstance(entry, dict) for entry in value):
            raise self.refusal(key, f"must be tables [[{key}]], not {value!r}.")
        return tuple(Section(entry, f"{key}[{number}]", self._source) for number, entry in enumerate(value, 1))

    def close(self) -> None:
        """Refuse keys that nobody asked for: a misspelt figure must not be taken for its default."""
        for key in self._told:
            if key not in self._read:
                known = ", ".join(sorted(self._read)) or "none"
                raise self.refusal(key, f"is unknown.{did_you_mean(key, sorted(self._read))} There are: {known}.")


def _line_of(text: str, path: str, key: str) -> int | None:
    """The line of ``key`` in section ``path``, or of the section's head if the key is not written; None if neither."""
    found = re.fullmatch(r"(\w+)\[(\d+)\]", path)
    head, number = (rf"\[\[\s*{found[1]}\s*\]\]", int(found[2])) if found else (rf"\[\s*{re.escape(path)}\s*\]", 1)
    inside, line_of_head = not path, None
    for line, content in enumerate(text.splitlines(), 1):
        stripped = content.strip()
        if stripped.startswith("["):
            if re.match(head, stripped) and path:
                number -= 1
                inside = number == 0
                line_of_head = line if inside else line_of_head
            else:
                inside = False
        if inside and key and re.match(rf"[\"']?{re.escape(key)}[\"']?\s*=", stripped):
            return line
        if not path and key and re.match(rf"\[\[?\s*{re.escape(key)}\s*\]\]?", stripped):
            return line
    return line_of_head


def read(source: str, folder: str) -> tuple[Section, bytes]:
    """The top section of a file, and its bytes.

    Args:
        source: name of a ready file of the package (without ``.toml``), or a path that ends in ``.toml``.
        folder: where the ready files are: ``sets`` or ``tables``.

    Raises:
        UsageError: no such file, no text, no TOML; the ready ones are listed.
    """
    if source.endswith(".toml"):
        raw = content_of(Path(source), f"relays: {folder.removesuffix('s')}", MOST_BYTES)
        name = Path(source).name
    else:
        ready = names(folder)
        if source not in ready:
            raise UsageError(
                f"relays: there is no '{in_one_line(source, 60)}' among the {folder}.{did_you_mean(source, ready)} "
                f"There are: {', '.join(ready)}; a path must end in .toml."
            )
        name = f"{source}.toml"
        raw = (resources.files(__package__) / folder / name).read_bytes()
    told = toml_of(raw, in_one_line(name, 80))
    return Section(told, "", (name, raw.decode())), raw


def names(folder: str) -> tuple[str, ...]:
    """The ready files of the package in ``folder``, sorted."""
    found = (entry.name for entry in (resources.files(__package__) / folder).iterdir())
    return tuple(sorted(name.removesuffix(".toml") for name in found if name.endswith(".toml")))
