"""How a plug-in declares its parameters: default, range, unit and one line of help each.

A search uses the ranges, the command line prints them, and every constructor enforces them.
"""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass
from functools import cache
from typing import Any, cast

from .errors import UsageError, in_one_line

Value = bool | int | float | str


_HUGE = 10**30


class StackText(str):
    """A value written as ``( stack )``: the canonical text of what stands between the parentheses.

    A constructor takes a plain string for it as well, because JSON and repr know no other.
    """

    __slots__ = ()


_KINDS: dict[type, str] = {
    bool: "true or false",
    int: "a whole number",
    float: "a number",
    str: "a word",
    StackText: "a stack in parentheses",
}


@dataclass(frozen=True, slots=True)
class Parameter:
    """One declared parameter.

    Attributes:
        name: key in a spec; carries its unit (``_hz _s _ms _db _percent _bytes _um _arcmin _per_minute``).
        default: its type is the parameter's type.
        help: one line.
        unit: as shown to a person; empty for plain numbers and words.
        low, high: inclusive range of a number.
        choices: the words allowed, if it is a choice.
    """

    name: str
    default: Value
    help: str
    unit: str = ""
    low: float | None = None
    high: float | None = None
    choices: tuple[Value, ...] = ()

    def accept(self, value: Any, owner: str) -> Value:
        """``value`` as this parameter's type.

        Raises:
            UsageError: naming ``owner``, the parameter, the rule and the value.
        """
        kind = type(self.default)
        if hasattr(value, "item") and getattr(value, "ndim", 1) == 0:
            value = value.item()  # a numpy scalar
        whole = isinstance(value, int) and not isinstance(value, bool)
        if kind is float and whole:
            value = float(value) if abs(value) < _HUGE else math.inf if value > 0 else -math.inf
        if kind is StackText and type(value) is str:
            value = self._as_stack(value, owner)
        if type(value) is not kind:
            raise UsageError(
                f"{owner}: parameter '{self.name}' must be {_KINDS[kind]}, not {in_one_line(repr(value), 60)}."
            )
        if isinstance(value, int | float) and kind is not bool:
            shown = f"{value}" if abs(value) < _HUGE or isinstance(value, float) else "a number of over 30 digits"
            if isinstance(value, float) and not math.isfinite(value):
                raise UsageError(f"{owner}: parameter '{self.name}' must be finite, not {shown}.")
            if (self.low is not None and value < self.low) or (self.high is not None and value > self.high):
                raise UsageError(f"{owner}: parameter '{self.name}' must be {self.range_text()}, not {shown}.")
        if self.choices and value not in self.choices:
            listed = ", ".join(str(choice) for choice in self.choices)
            raise UsageError(f"{owner}: parameter '{self.name}' must be one of {listed}, not {in_one_line(value, 60)}.")
        result: Value = value
        return result

    def _as_stack(self, text: str, owner: str) -> StackText:
        from .spec import stack_text  # the grammar builds on this module

        try:
            return stack_text(text)
        except UsageError as error:
            raise UsageError(f"{owner}: parameter '{self.name}' must be a stack: {error}") from None

    def range_text(self) -> str:
        """The range with its unit, for a person.

        >>> Parameter("depth_db", 0.0, "How deep.", "dB", 0, 40).range_text()
        '0 to 40 dB'
        """
        unit = f" {self.unit}" if self.unit else ""
        if self.choices:
            return ", ".join(str(choice) for choice in self.choices)
        if self.low is not None and self.high is not None:
            return f"{self.low:.12g} to {self.high:.12g}{unit}"
        if self.low is not None:
            return f"at least {self.low:.12g}{unit}"
        if self.high is not None:
            return f"at most {self.high:.12g}{unit}"
        return _KINDS[type(self.default)]


def parameter(
    default: Value,
    help: str,
    *,
    unit: str = "",
    low: float | None = None,
    high: float | None = None,
    choices: tuple[Value, ...] = (),
) -> Any:
    """A dataclass field that is a declared parameter: ``level_db: float = parameter(-46.0, "Noise power.", ...)``."""
    told = {"help": help, "unit": unit, "low": low, "high": high, "choices": choices}
    return dataclasses.field(default=default, metadata={"parameter": told})


def parameters_of(plug_in: Any) -> tuple[Parameter, ...]:
    """The declared parameters of a plug-in (class or instance), in order of declaration."""
    return _declared_by(plug_in if isinstance(plug_in, type) else type(plug_in))


@cache
def _declared_by(kind: type[Any]) -> tuple[Parameter, ...]:
    return tuple(
        Parameter(field.name, cast(Value, field.default), **field.metadata["parameter"])
        for field in dataclasses.fields(kind)
        if "parameter" in field.metadata
    )
