"""The catalogue: every registered plug-in and preset as plain data, the broken ones too."""

from __future__ import annotations

from typing import Any

from ..contracts.channel_model import ChannelModel
from ..contracts.errors import PlugInError, TapewrightError
from ..contracts.layer import Layer
from ..contracts.line_code import LineCode
from ..contracts.parameters import Parameter, parameters_of
from ..contracts.plug_in import PlugIn
from ..contracts.preset import Preset
from ..contracts.receiver import Receiver
from ..contracts.registry import KINDS, Registry, codec, installed
from ..contracts.relay_cost import RelayCost, RelayLayer, RelayLineCode, relay_cost

_ROLES: tuple[tuple[type[PlugIn], str], ...] = (
    (Layer, "layer"),
    (LineCode, "line code"),
    (ChannelModel, "channel model"),
    (Receiver, "receiver"),
)

PRESET, BROKEN = "preset", "broken"

BORNE_BYTES = 4096
"""Length of the program for which a ready stack says how long a dropout it bears: longer ones bear no less."""


def catalogue() -> list[dict[str, Any]]:
    """One entry a name, kind by kind: kind, role, name, package, summary and what belongs to the role.

    A plug-in has its parameters (with default, range, unit and help), a preset its spec, and one that cannot be used
    the error that says why. What relays can decode has its cost with every parameter at its default.
    """
    return [_entry(installed(kind), name) for kind in KINDS for name in installed(kind).names()]


def _entry(registry: Registry, name: str) -> dict[str, Any]:
    told: dict[str, Any] = {"kind": registry.kind, "name": name, "package": registry.package(name)}
    try:
        found = registry.load(name)
    except PlugInError as error:
        return {**told, "role": BROKEN, "summary": "", "error": str(error)}
    if isinstance(found, Preset):
        return {**told, "role": PRESET, "summary": found.summary, "spec": found.spec, **_stack(registry.kind, name)}
    return {
        **told,
        "role": next((role for base, role in _ROLES if issubclass(found, base)), BROKEN),
        "summary": found.summary,
        **{key: value for key in ("needs", "place") if isinstance(value := getattr(found, key, None), str)},
        "parameters": [_parameter(declared) for declared in parameters_of(found)],
        **_own_cost(found),
    }


def _stack(kind: str, name: str) -> dict[str, Any]:
    """What a preset of a codec needs and bears; nothing where a member of it cannot be used."""
    if kind != "codec":
        return {}
    try:
        stack = codec(name)
    except TapewrightError:
        return {}
    bears = {"payload_bytes": BORNE_BYTES, "guaranteed_burst_ms": stack.guaranteed_burst_ms(BORNE_BYTES)}
    return {"needs": stack.needs, "bears": bears, **_cost(relay_cost(stack))}


def _own_cost(found: type[PlugIn]) -> dict[str, Any]:
    if not issubclass(found, Layer | LineCode) or found.needs != "relays":
        return {}
    built = found()
    return _cost(built.relay_cost() if isinstance(built, RelayLayer | RelayLineCode) else None)


def _cost(cost: RelayCost | None) -> dict[str, Any]:
    return {} if cost is None else {"relay_cost": {**cost.as_json(), "in_words": cost.in_words()}}


def _parameter(declared: Parameter) -> dict[str, Any]:
    return {
        "name": declared.name,
        "default": declared.default,
        "unit": declared.unit,
        "low": declared.low,
        "high": declared.high,
        "choices": list(declared.choices),
        "range": declared.range_text(),
        "help": declared.help,
    }
