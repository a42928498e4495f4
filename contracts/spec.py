"""The spec: the one text form of a stack.

::

    stack = item ("/" item)*
    item  = name [":" key "=" value ("," key "=" value)*] | "(" stack ")"
    value = number | true | false | word | JSON string | "(" stack ")"

Outermost codec layer first, earliest channel stage first. White space between tokens is ignored. ``(a/b)`` inside a
stack is the same as ``a/b``; as a value it is kept as the text of a stack, in canonical form as far as it was written
out. The canonical form has no white space and writes out every parameter; hashes use it.

Law: constructor == repr == spec == JSON, both ways.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from .errors import UsageError, in_one_line
from .parameters import StackText, Value
from .plug_in import PlugIn

MOST_CHARACTERS = 65_536
MOST_NESTING = 32

_NAME = re.compile(r"[A-Za-z][A-Za-z0-9_-]*")
_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?(?![A-Za-z0-9_.-])", re.ASCII)
_WORD = re.compile(r"[A-Za-z0-9_][A-Za-z0-9_.+-]*")
_STRING = re.compile(r'"(?:[^"\\\x00-\x1f]|\\.)*"')
_NOT_FINITE = {"nan", "inf", "infinity"}


@dataclass(frozen=True, slots=True)
class Item:
    """One member of a stack as written: its name, its arguments and where it stands in the text."""

    name: str
    arguments: tuple[tuple[str, Value], ...] = ()
    position: int = 0


class _Reader:
    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0

    def fail(self, what: str) -> UsageError:
        shown = in_one_line(self.text, 120)
        return UsageError(f"spec: {what} at character {self.at + 1} of '{shown}'.")

    def peek(self) -> str:
        while self.at < len(self.text) and self.text[self.at].isspace():
            self.at += 1
        return self.text[self.at] if self.at < len(self.text) else ""

    def take(self, pattern: re.Pattern[str]) -> str | None:
        self.peek()
        found = pattern.match(self.text, self.at)
        if found is None:
            return None
        self.at = found.end()
        return found.group()

    def stack(self, depth: int) -> list[Item]:
        if depth > MOST_NESTING:
            raise self.fail(f"parentheses nested deeper than {MOST_NESTING}")
        items = self.member(depth)
        while self.peek() == "/":
            self.at += 1
            items += self.member(depth)
        return items

    def member(self, depth: int) -> list[Item]:
        if self.peek() == "(":
            return self.group(depth)
        position = self.at
        name = self.take(_NAME)
        if name is None:
            raise self.fail("a name is missing" if self.peek() in {"", "/", ")"} else "a name must start here")
        arguments: dict[str, Value] = {}
        if self.peek() == ":":
            self.at += 1
            while True:
                key = self.take(_NAME)
                if key is None:
                    raise self.fail(f"a parameter name of '{name}' is missing")
                if key in arguments:
                    raise self.fail(f"parameter '{key}' of '{name}' is given twice")
                if self.peek() != "=":
                    raise self.fail(f"'=' is missing after '{key}'")
                self.at += 1
                arguments[key] = self.value(name, key, depth)
                if self.peek() != ",":
                    break
                self.at += 1
        return [Item(name, tuple(arguments.items()), position)]

    def group(self, depth: int) -> list[Item]:
        opened = self.at
        self.at += 1
        items = self.stack(depth + 1)
        if self.peek() != ")":
            if self.peek() == "":
                self.at = opened
                raise self.fail("this '(' is never closed: unbalanced parentheses")
            raise self.fail("')' or '/' must stand here")
        self.at += 1
        return items

    def value(self, name: str, key: str, depth: int) -> Value:
        head = self.peek()
        if head == "(":
            return StackText(format_items(self.group(depth)))
        if head == '"':
            quoted = self.take(_STRING)
            if quoted is None:
                raise self.fail(f"the string for '{key}' is not closed")
            try:
                return str(json.loads(quoted))
            except ValueError:
                raise self.fail(f"the string for '{key}' is not a JSON string") from None
        signed = self.text[self.at : self.at + 1] in {"+", "-"}
        number = self.take(_NUMBER)
        if number is not None:
            if not set(number) & set(".eE"):
                if len(number) > 30:
                    raise self.fail(f"parameter '{key}' of '{name}' has too many digits")
                return int(number)
            if not math.isfinite(float(number)):
                raise self.fail(f"parameter '{key}' of '{name}' must be finite")
            return float(number)
        if signed:
            self.at += 1
        word = self.take(_WORD)
        if word is None or (signed and word.lower() not in _NOT_FINITE):
            raise self.fail(f"a value for '{key}' of '{name}' is missing")
        if word.lower() in _NOT_FINITE:
            raise self.fail(f"parameter '{key}' of '{name}' must be finite, not {word}")
        return {"true": True, "false": False}.get(word, word)


def parse_stack(text: str) -> tuple[Item, ...]:
    """The items of a spec, groups dissolved.

    >>> [item.name for item in parse_stack("contents/(rs:parity_bytes=8/biphase)")]
    ['contents', 'rs', 'biphase']

    Raises:
        UsageError: says what is wrong and at which character.
    """
    if len(text) > MOST_CHARACTERS:
        raise UsageError(f"spec: must be at most {MOST_CHARACTERS} characters, not {len(text)}.")
    reader = _Reader(text)
    if reader.peek() == "":
        raise UsageError("spec: is empty; a stack of names is needed, such as 'sturdy'.")
    items = reader.stack(0)
    if reader.peek() == ")":
        raise reader.fail("this ')' was never opened: unbalanced parentheses")
    if reader.peek() != "":
        raise reader.fail("'/', ':' or the end must stand here")
    return tuple(items)


def format_value(value: Value) -> str:
    """A value as written in the canonical form.

    >>> [format_value(v) for v in (1200.0, 0.25, True, "mark", "two words")]
    ['1200', '0.25', 'true', 'mark', '"two words"']
    """
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, StackText):
        return f"({value})"
    if isinstance(value, int):
        return str(value)
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)
    readable = _WORD.fullmatch(value) and not _NUMBER.match(value)
    if readable and value not in {"true", "false"} and value.lower() not in _NOT_FINITE:
        return value
    return json.dumps(value)


def format_items(items: Iterable[Item]) -> str:
    """The text of a stack with the arguments that its items hold.

    >>> format_items(parse_stack("contents / (rs: parity_bytes = 8)"))
    'contents/rs:parity_bytes=8'
    """
    return "/".join(_format(item.name, item.arguments) for item in items)


def stack_text(text: str) -> StackText:
    """``text`` as the value of a parameter that holds a stack.

    Raises:
        UsageError: as ``parse_stack``.
    """
    return StackText(format_items(parse_stack(text)))


def _format(name: str, arguments: Iterable[tuple[str, Value]]) -> str:
    written = ",".join(f"{key}={format_value(value)}" for key, value in arguments)
    return f"{name}:{written}" if written else name


def format_item(plug_in: PlugIn) -> str:
    """One plug-in in canonical form, every parameter written out."""
    return _format(plug_in.name, plug_in.arguments().items())


def format_stack(plug_ins: Iterable[PlugIn]) -> str:
    """A stack in canonical form; the empty stack is ``wire``, the null channel."""
    return "/".join(format_item(plug_in) for plug_in in plug_ins) or "wire"


def to_json(plug_ins: Iterable[PlugIn]) -> list[dict[str, Any]]:
    """The JSON form of a stack: a list of ``{"name": ..., "parameters": {...}}``."""
    return [{"name": plug_in.name, "parameters": dict(plug_in.arguments())} for plug_in in plug_ins]


def from_json(stack: Any) -> tuple[Item, ...]:
    """The items of a stack's JSON form.

    Raises:
        UsageError: anything but a list of names with parameters.
    """
    try:
        items = tuple(_item(**entry) for entry in stack)
    except (TypeError, ValueError):
        raise UsageError('spec: the JSON form is a list of {"name": ..., "parameters": {...}}.') from None
    for item in items:
        for name in (item.name, *(key for key, _ in item.arguments)):
            if not isinstance(name, str) or not _NAME.fullmatch(name):
                raise UsageError(f"spec: '{in_one_line(name, 60)}' is no name.")
    return items


def _item(name: str, parameters: Mapping[str, Value] = MappingProxyType({})) -> Item:
    return Item(name, tuple(dict(parameters).items()))
