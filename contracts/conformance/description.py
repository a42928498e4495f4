"""Checks for every plug-in: it says what it is, its parameters are declared, its four forms agree, it pickles."""

from __future__ import annotations

import ast
import dataclasses
import json
import math
import pickle
import re
import typing
from collections.abc import Callable
from typing import Any

from ..channel_model import PLACES, ChannelModel
from ..errors import UsageError
from ..layer import Layer
from ..line_code import NEEDS, TOLERANCES, LineCode
from ..parameters import Parameter, parameters_of
from ..plug_in import PlugIn
from ..registry import installed
from ..spec import format_item, parse_stack, to_json
from .check import require

UNITS = {
    "_hz": {"Hz", "bit/s", "baud"},
    "_s": {"s"},
    "_ms": {"ms"},
    "_us": {"us", "µs", "μs"},
    "_db": {"dB"},
    "_percent": {"%", "percent"},
    "_bytes": {"bytes", "byte"},
    "_um": {"um", "µm", "μm"},
    "_arcmin": {"arcmin", "arcminutes", "'"},
    "_per_minute": {"per minute", "a minute"},
}
"""Suffix of a parameter's name to the units it may be shown with; ``_sd`` and ``_limit`` may follow the suffix."""

ESSENTIAL = frozenset(
    {
        "says_what_it_is",
        "spec_round_trips",
        "decode_is_total",
        "demodulate_is_total",
        "intact_never_lies",
        "verdict_never_lies",
        "same_generator_same_audio",
        "same_generator_same_reading",
        "receives_silence_and_noise",
        "input_is_untouched",
        "global_random_state_is_untouched",
    }
)
"""Laws that no exemption lifts."""

_NAME = re.compile(r"[a-z][a-z0-9_]*")


def registry_kind(plug_in: PlugIn) -> str:
    """The key of ``registry.KINDS`` under which ``plug_in`` registers."""
    if isinstance(plug_in, LineCode | Layer):
        return "codec"
    return "channel" if isinstance(plug_in, ChannelModel) else "receiver"


def _one_line(text: object) -> bool:
    return isinstance(text, str) and text.strip() != "" and text.isprintable()


def says_what_it_is(plug_in: PlugIn, known_checks: frozenset[str]) -> None:
    """Name, summary, needs, tolerances, place and exemptions are well formed."""
    require(_NAME.fullmatch(plug_in.name) is not None, f"name '{plug_in.name}' must match {_NAME.pattern}.")
    require(_one_line(plug_in.summary), f"summary {plug_in.summary!r} must be one line of text.")
    for check, reason in plug_in.exemptions.items():
        require(check in known_checks, f"exemptions name '{check}', which is no check of this kind.")
        require(check not in ESSENTIAL, f"no plug-in is exempt from '{check}'.")
        require(_one_line(reason), f"the exemption from '{check}' must give its reason in one line.")
    if isinstance(plug_in, LineCode | Layer):
        require(plug_in.needs in NEEDS, f"needs '{plug_in.needs}' must be one of {', '.join(NEEDS)}.")
        claimed = plug_in.tolerates if isinstance(plug_in, LineCode) else plug_in.restores
        require(claimed <= set(TOLERANCES), f"tolerances {sorted(claimed)} must be among {', '.join(TOLERANCES)}.")
    if isinstance(plug_in, ChannelModel):
        require(plug_in.place in PLACES, f"place '{plug_in.place}' must be one of {', '.join(PLACES)}.")


def parameters_are_declared(plug_in: PlugIn) -> None:
    """Every field is a declared parameter with help, unit and range, and the constructor keeps to them."""
    declared = {parameter.name: parameter for parameter in parameters_of(plug_in)}
    for field in dataclasses.fields(plug_in):
        require(field.name in declared, f"field '{field.name}' is not declared with parameter().")
        hidden = hasattr(PlugIn, field.name) or field.name in PlugIn.__annotations__
        require(not hidden, f"parameter '{field.name}' hides an attribute of PlugIn.")
    annotated = typing.get_type_hints(type(plug_in))
    for parameter in declared.values():
        require(_one_line(parameter.help), f"parameter '{parameter.name}' must have one line of help.")
        kind = type(parameter.default)
        wanted = annotated[parameter.name]
        require(
            wanted is kind or (kind is str and typing.get_origin(wanted) is typing.Literal),
            f"parameter '{parameter.name}' is annotated {wanted} but its default {parameter.default!r} is {kind}.",
        )
        _unit_agrees(parameter)
        if kind in (int, float) and not parameter.choices:
            _range_is_kept(plug_in, parameter)
        if parameter.choices:
            require(
                parameter.default in parameter.choices, f"the default of '{parameter.name}' is none of its choices."
            )
            if kind is str:
                _is_refused(plug_in, parameter, "no_such_choice")


def _unit_agrees(parameter: Parameter) -> None:
    stem = "_" + re.sub(r"_(sd|limit)$", "", parameter.name)
    carried = next((suffix for suffix in UNITS if stem.endswith(suffix)), None)
    by_unit = next((suffix for suffix, units in UNITS.items() if parameter.unit in units), None)
    if carried is not None:
        require(
            parameter.unit in UNITS[carried],
            f"parameter '{parameter.name}' must have unit {' or '.join(sorted(UNITS[carried]))}, "
            f"not '{parameter.unit}'.",
        )
    require(
        by_unit is None or carried is not None,
        f"parameter '{parameter.name}' is in {parameter.unit}: its name must end in {by_unit}.",
    )


def _range_is_kept(plug_in: PlugIn, parameter: Parameter) -> None:
    low, high = parameter.low, parameter.high
    require(low is not None and high is not None, f"parameter '{parameter.name}' must have a range.")
    assert low is not None
    assert high is not None
    default = parameter.default
    assert isinstance(default, int | float)
    require(low <= default <= high, f"the default of '{parameter.name}' is out of its range.")
    require(low < high, f"the range of '{parameter.name}' is empty.")
    step = 1 if type(default) is int else max(1e-6, 1e-6 * abs(high - low))
    _is_refused(plug_in, parameter, type(default)(low - step))
    _is_refused(plug_in, parameter, type(default)(high + step))
    _is_refused(plug_in, parameter, math.nan)
    for edge in (low, high):
        try:
            dataclasses.replace(plug_in, **{parameter.name: type(default)(edge)})
        except UsageError:
            continue  # a rule that ties several parameters may forbid an edge


def _is_refused(plug_in: PlugIn, parameter: Parameter, value: object) -> None:
    try:
        dataclasses.replace(plug_in, **{parameter.name: value})
    except UsageError as error:
        said = str(error)
        require(_one_line(said) and parameter.name in said, f"refusing {parameter.name}={value} says only: {said!r}.")
    else:
        raise AssertionError(f"parameter '{parameter.name}' accepts {value}, which is against its declaration.")


def plug_in_spec_round_trips(plug_in: PlugIn) -> None:
    """Constructor, repr, spec and JSON say the same thing, both ways."""
    registry = installed(registry_kind(plug_in))
    spec = format_item(plug_in)
    require(registry.build(parse_stack(spec)) == (plug_in,), f"the spec '{spec}' builds something else.")
    _repr_is_the_constructor(plug_in)


def _repr_is_the_constructor(plug_in: PlugIn) -> None:
    written = repr(plug_in)
    try:
        call = ast.parse(written, mode="eval").body
    except SyntaxError:
        raise AssertionError(f"repr {written!r} is no constructor call.") from None
    called = isinstance(call, ast.Call) and isinstance(call.func, ast.Name) and not call.args
    require(called, f"repr {written!r} is no constructor call with named arguments.")
    assert isinstance(call, ast.Call)
    assert isinstance(call.func, ast.Name)
    require(call.func.id == type(plug_in).__name__, f"repr {written!r} names another class.")
    arguments = {str(keyword.arg): ast.literal_eval(keyword.value) for keyword in call.keywords}
    require(type(plug_in)(**arguments) == plug_in, f"repr {written!r} builds something else.")


def stack_spec_round_trips(plug_ins: tuple[PlugIn, ...], spec: str, rebuild: Callable[[Any], Any], whole: Any) -> None:
    """The stack ``whole`` comes back from its canonical spec and from its JSON text."""
    require(rebuild(spec) == whole, f"the canonical spec '{spec}' builds something else.")
    require(rebuild(spec).spec == spec, f"the canonical spec '{spec}' does not come back as itself.")
    outside_strings = re.sub(r'"(?:[^"\\]|\\.)*"', "", spec)
    require(re.search(r"\s", outside_strings) is None, f"the canonical spec '{spec}' holds white space.")
    told = json.loads(json.dumps(to_json(plug_ins)))
    if plug_ins:
        require(rebuild(told) == whole, f"the JSON form {told} builds something else.")
    for plug_in in plug_ins:
        plug_in_spec_round_trips(plug_in)


def pickles(thing: Any) -> None:
    """A pickled copy equals the original, so that a trial can be sent to another process."""
    try:
        copy = pickle.loads(pickle.dumps(thing))
    except Exception as error:  # pickle has no one error of its own
        raise AssertionError(f"{thing!r} cannot be pickled: {error}") from error
    require(copy == thing, f"{thing!r} does not come back from pickle.")
