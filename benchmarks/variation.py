"""Variation: other settings of a plug-in within the ranges that it declares.

What a parameter is for is read off the arithmetic, so that a stranger's line code is searched like ours. A *pace*
parameter changes how long each further bit takes. One that changes the length of the recording and not the pace is
leader, tail or header: it serves the deck and the person, and stays as declared. Any other is *shape*.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import TypeVar

from ..contracts.errors import UsageError
from ..contracts.keying import KeyedLineCode
from ..contracts.layer import Layer
from ..contracts.line_code import LineCode
from ..contracts.parameters import Parameter, Value, parameters_of
from ..contracts.plug_in import PlugIn

COARSE, FINE = 2.0**0.5, 2.0**0.125
"""Factors from one value of a parameter to the next: at the first look, and around what survives."""

MOST_CHOICES = 6
"""A choice among more words than this is no strength that could be searched (a catalogue of names, say)."""

_FEW_BITS, _MANY_BITS = 4_096, 65_536
_DIGITS = 4

Code = TypeVar("Code", bound=PlugIn)


def with_value(plug_in: Code, name: str, value: Value) -> Code | None:
    """``plug_in`` with another value of one parameter; None if that breaks a rule of its."""
    try:
        return replace(plug_in, **{name: value})
    except UsageError:
        return None


def length(plug_in: PlugIn) -> Callable[[int], float]:
    """What ``plug_in`` makes of that many bits: seconds of a line code, bits of a layer."""
    if isinstance(plug_in, LineCode):
        return plug_in.duration_s
    assert isinstance(plug_in, Layer)
    return plug_in.coded_bits


def pace(plug_in: PlugIn) -> float:
    """Length of each further bit."""
    of = length(plug_in)
    return of(_MANY_BITS) - of(_FEW_BITS)


def role(plug_in: PlugIn, name: str, value: Value) -> str:
    """What a parameter is for, told by setting it to ``value``: pace, overhead or shape."""
    other = with_value(plug_in, name, value)
    if other is None or other == plug_in:
        return "shape"
    if not math.isclose(pace(other), pace(plug_in), rel_tol=1e-6):
        return "pace"
    return "shape" if math.isclose(length(other)(_FEW_BITS), length(plug_in)(_FEW_BITS)) else "overhead"


def moves(plug_in: Code, factor: float = FINE) -> Iterator[Code]:
    """``plug_in`` with one parameter moved a step either way, or to another choice; leader, tail and headers stay."""
    for declared in parameters_of(plug_in):
        own = plug_in.arguments()[declared.name]
        for value in _values_beside(declared, own, factor):
            if value != own and role(plug_in, declared.name, value) != "overhead":
                moved = with_value(plug_in, declared.name, value)
                if moved is not None:
                    yield moved


def _values_beside(declared: Parameter, own: Value, factor: float) -> Iterator[Value]:
    if declared.choices:
        if len(declared.choices) <= MOST_CHOICES:
            yield from declared.choices
    elif isinstance(own, bool):
        yield not own
    elif isinstance(own, int | float):
        for beside in _beside(own, factor, declared):
            if _in_range(beside, declared):
                yield beside


def _beside(own: float, factor: float, declared: Parameter) -> Iterator[int | float]:
    if isinstance(declared.default, int):
        yield from (min(math.floor(own / factor), int(own) - 1), max(math.ceil(own * factor), int(own) + 1))
    elif declared.unit == "dB":
        yield from (own - 20 * math.log10(factor), own + 20 * math.log10(factor))
    else:
        yield from (rounded(own / factor), rounded(own * factor))


def _in_range(value: float, declared: Parameter) -> bool:
    return (declared.low is None or value >= declared.low) and (declared.high is None or value <= declared.high)


def rounded(value: float, digits: int = _DIGITS) -> float:
    """To so many digits, as a person would write it.

    >>> rounded(1697.056, 2)
    1700.0
    """
    return float(f"{value:.{digits}g}")


def first_look(code: LineCode) -> Iterator[LineCode]:
    """``code`` over the whole range of its main rate, with every choice that changes the pace.

    The main rate is the number with which the pace can change most; where it is a frequency, all frequencies of the
    code are also scaled together, and a keyed code keeps its shares of a step.
    """
    for chosen in _choices(code):
        yield chosen
        main = _main_rate(chosen)
        if main is not None:
            for value in _grid(main):
                for made in _at_rate(chosen, main, value):
                    if made is not None:
                        yield made


def _choices(code: LineCode) -> Iterator[LineCode]:
    """Every combination of words and switches that differ in pace; of those that do not, the declared one."""
    found = [code]
    for declared in parameters_of(code):
        own = code.arguments()[declared.name]
        others = declared.choices if 0 < len(declared.choices) <= MOST_CHOICES else ()
        if isinstance(own, bool):
            others = (not own,)
        paces = {round(pace(code), 9)}
        for value in others:
            other = with_value(code, declared.name, value)
            if other is not None and round(pace(other), 9) not in paces:
                paces.add(round(pace(other), 9))
                changed = (with_value(earlier, declared.name, value) for earlier in tuple(found))
                found += [one for one in changed if one is not None]
    yield from dict.fromkeys(found)


def _main_rate(code: LineCode) -> Parameter | None:
    best: tuple[float, Parameter] | None = None
    for declared in parameters_of(code):
        if isinstance(declared.default, bool | str) or declared.low is None or declared.high is None:
            continue
        reached = [
            pace(made)
            for value in (declared.low, declared.high, COARSE * float(declared.default))
            if (made := with_value(code, declared.name, type(declared.default)(value))) is not None
        ]
        spread = max((abs(math.log(each / pace(code))) for each in reached if each > 0), default=0.0)
        if spread > 1e-6 and (best is None or spread > best[0]):
            best = spread, declared
    return None if best is None else best[1]


def _grid(main: Parameter) -> Iterator[Value]:
    """The default times whole powers of ``COARSE`` within the range, and both ends."""
    assert main.low is not None
    assert main.high is not None
    whole = isinstance(main.default, int)
    origin = float(main.default)
    if origin <= 0 or main.low <= 0:
        steps = 12
        values = [main.low + (main.high - main.low) * step / steps for step in range(steps + 1)]
    else:
        down = math.floor(math.log(origin / main.low, COARSE) + 1e-9)
        up = math.floor(math.log(main.high / origin, COARSE) + 1e-9)
        values = [main.low, *(rounded(origin * COARSE**power, 2) for power in range(-down, up + 1)), main.high]
    for value in dict.fromkeys(min(max(value, main.low), main.high) for value in values):
        yield round(value) if whole else value


def _at_rate(code: LineCode, main: Parameter, value: Value) -> Iterator[LineCode | None]:
    own = code.arguments()[main.name]
    assert isinstance(value, int | float)
    assert isinstance(own, int | float)
    if isinstance(code, KeyedLineCode) and main.unit == "ms":
        try:
            yield tidied(code.at_step(value / 1000))
        except UsageError:
            yield None
        return
    yield with_value(code, main.name, value)
    if main.unit == "Hz":
        scaled = {
            declared.name: rounded(value / own * float(code.arguments()[declared.name]))
            for declared in parameters_of(code)
            if declared.unit == "Hz" and isinstance(declared.default, float)
        }
        try:
            yield replace(code, **{**scaled, main.name: value}) if len(scaled) > 1 else None
        except UsageError:
            yield None


def tidied(code: Code) -> Code:
    """``code`` with its numbers as a person would write them."""
    numbers = {name: rounded(value) for name, value in code.arguments().items() if isinstance(value, float)}
    try:
        return replace(code, **numbers)
    except UsageError:
        return code
