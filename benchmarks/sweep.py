"""A sweep: one spec, some of its parameters walking through values.

::

    [[sweep]]
    codec = "sturdy"
    over = { "biphase.bit_rate_hz" = [1200, 2400], "rs.parity_bytes" = { from = 16, to = 64, steps = 4 } }

Every value of one parameter meets every value of the others. A preset is written out first, so that its members can be
named. ``from`` and ``to`` default to the declared range of the parameter; ``ratio = true`` spaces the steps evenly by
ratio. What is outside the declared range is refused by the parameter itself.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from itertools import product
from typing import Any

from ..contracts import registry
from ..contracts.errors import UsageError, did_you_mean, in_one_line
from ..contracts.parameters import Parameter, StackText, Value, parameters_of
from ..contracts.spec import Item, format_items

MOST_STEPS = 1000
MOST_POINTS = 100_000
_STEP_KEYS = ("from", "to", "steps", "ratio")


def swept(
    kind: str, items: tuple[Item, ...], over: Mapping[str, Any], most_points: int = MOST_POINTS
) -> tuple[str, ...]:
    """The specs of every point of a sweep, presets written out, the last parameter walking fastest.

    Args:
        kind: codec, receiver or channel.
        items: the stack.
        over: values by ``plug_in.parameter``.
        most_points: how many there may be.

    Raises:
        UsageError: a name that does not occur in the stack, values that are none, or too many points.
    """
    stack = registry.installed(kind).expanded(items)
    walks = [[(key, value) for value in _values(kind, stack, key, told)] for key, told in over.items()]
    count = math.prod(map(len, walks))
    if count > most_points:  # before any is made
        keys = in_one_line(", ".join(f"'{key}'" for key in over), 120)
        raise UsageError(f"sweep: {keys} have {count} points together, and a study has room for {most_points}.")
    points = []
    for chosen in product(*walks):
        point = stack
        for key, value in chosen:
            point = _with(point, key, value)
        points.append(format_items(point) or "wire")
    return tuple(points)


def _with(stack: tuple[Item, ...], key: str, value: Value) -> tuple[Item, ...]:
    name, _, parameter = key.partition(".")
    return tuple(
        Item(item.name, tuple({**dict(item.arguments), parameter: value}.items()), item.position)
        if item.name == name
        else item
        for item in stack
    )


def _declared(kind: str, stack: tuple[Item, ...], key: str) -> Parameter:
    offered = {
        f"{item.name}.{one.name}": one
        for item in stack
        for one in parameters_of(registry.installed(kind).plug_in(item.name))
    }
    if key not in offered:
        raise UsageError(
            f"sweep: there is no '{in_one_line(key, 60)}' in that {kind}.{did_you_mean(key, offered)} "
            f"There are: {', '.join(offered) or 'none'}."
        )
    return offered[key]


def _values(kind: str, stack: tuple[Item, ...], key: str, told: Any) -> list[Value]:
    declared = _declared(kind, stack, key)
    values = _steps(declared, key, told) if isinstance(told, dict) else told
    if not isinstance(values, list) or not 1 <= len(values) <= MOST_STEPS:
        raise UsageError(
            f"sweep: '{key}' must be a list of 1 to {MOST_STEPS} values, or {{ from = ..., to = ..., steps = ... }}."
        )
    return [declared.accept(value, key.partition(".")[0]) for value in values]


def _steps(declared: Parameter, key: str, told: dict[str, Any]) -> list[Value]:
    unknown = [one for one in told if one not in _STEP_KEYS]
    if unknown:
        hint = did_you_mean(unknown[0], _STEP_KEYS)
        raise UsageError(
            f"sweep: '{key}' has no '{in_one_line(unknown[0], 60)}'.{hint} There are: {', '.join(_STEP_KEYS)}."
        )
    if isinstance(declared.default, bool | str | StackText):
        raise UsageError(f"sweep: '{key}' is no number, so it cannot walk in steps; list its values.")
    low, high = (_end(declared, key, told, name, own) for name, own in (("from", declared.low), ("to", declared.high)))
    steps, by_ratio = told.get("steps"), told.get("ratio", False)
    if type(steps) is not int or not 2 <= steps <= MOST_STEPS:
        raise UsageError(f"sweep: 'steps' of '{key}' must be 2 to {MOST_STEPS}, not {in_one_line(repr(steps), 40)}.")
    if type(by_ratio) is not bool:
        raise UsageError(f"sweep: 'ratio' of '{key}' must be true or false.")
    if by_ratio and not 0 < low <= high:
        raise UsageError(f"sweep: '{key}' can only walk by ratio from above 0 upwards, not from {low} to {high}.")
    shares = [place / (steps - 1) for place in range(steps)]
    walk = [low * (high / low) ** share if by_ratio else low + (high - low) * share for share in shares]
    walk[-1] = high
    if isinstance(declared.default, float):
        return [float(f"{value:.6g}") for value in walk]
    return list(dict.fromkeys(round(value) for value in walk))


def _end(declared: Parameter, key: str, told: dict[str, Any], name: str, own: float | None) -> float:
    value: Any = told.get(name, own)
    if type(value) not in (int, float) or not -math.inf < value < math.inf:
        raise UsageError(f"sweep: '{name}' of '{key}' must be a number, not {in_one_line(repr(value), 40)}.")
    declared.accept(value if isinstance(declared.default, float) else round(value), key.partition(".")[0])
    return float(value)
