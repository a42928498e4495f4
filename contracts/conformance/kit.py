"""The kit: which checks a plug-in or a stack must pass, by kind."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import partial
from pathlib import Path
from typing import Any

from .. import registry
from ..channel_model import ChannelModel
from ..errors import UsageError
from ..layer import Layer
from ..line_code import LineCode
from ..plug_in import PlugIn
from ..preset import Preset
from ..receiver import Receiver
from ..spec import parse_stack
from . import channel_model, codec, description, layer, line_code, receiver
from .check import Check

_DESCRIBED = ("says_what_it_is", "parameters_are_declared", "spec_round_trips", "pickles")

EXPECTED: dict[str, tuple[str, ...]] = {
    "codec": (
        "spec_round_trips",
        "pickles",
        "payload_round_trips",
        "any_sample_rate_round_trips",
        "encoding_is_deterministic",
        "audio_is_stereo_finite_within_full_scale",
        "duration_is_as_declared",
        "decode_is_total",
        "intact_never_lies",
        "golden_tape_still_decodes",
    ),
    "line_code": (
        *_DESCRIBED,
        "bits_round_trip",
        "modulating_is_deterministic",
        "demodulate_is_total",
        "length_is_as_declared",
        "times_follow_the_tape",
        "claimed_tolerances_hold",
    ),
    "layer": (
        *_DESCRIBED,
        "bits_round_trip",
        "encoding_is_deterministic",
        "coded_bits_is_arithmetic",
        "decode_is_total",
        "verdict_never_lies",
        "uncorrected_keeps_signs",
        "times_stay_on_the_tape",
        "claimed_tolerances_hold",
    ),
    "channel_model": (
        *_DESCRIBED,
        "same_generator_same_audio",
        "input_is_untouched",
        "global_random_state_is_untouched",
        "accepts_empty_signal",
        "accepts_any_sample_rate",
        "longer_tape_starts_the_same",
        "no_two_tapes_share_a_stream",
        "zero_strength_is_identity",
        "strength_is_calibrated",
    ),
    "channel": (
        "spec_round_trips",
        "pickles",
        "same_generator_same_audio",
        "input_is_untouched",
        "global_random_state_is_untouched",
        "accepts_empty_signal",
        "accepts_any_sample_rate",
        "longer_tape_starts_the_same",
        "no_two_tapes_share_a_stream",
    ),
    "receiver": (
        *_DESCRIBED,
        "same_generator_same_reading",
        "receives_silence_and_noise",
        "input_is_untouched",
        "global_random_state_is_untouched",
        "wire_and_clean_tape_give_the_payload",
        "refusal_is_one_line",
    ),
}
"""Kind to the names of its checks: a run of the kit with fewer than these has left something out.

A codec and a channel are stacks; line_code, layer, channel_model and receiver are single plug-ins.
"""

_SINGLE: dict[str, tuple[str, type[PlugIn], Any]] = {
    "line_code": ("codec", LineCode, line_code),
    "layer": ("codec", Layer, layer),
    "channel_model": ("channel", ChannelModel, channel_model),
    "receiver": ("receiver", Receiver, receiver),
}


def kinds_of(registry_kind: str, name: str) -> tuple[str, ...]:
    """The kinds of checks for what is registered as ``name``: a line code is tried alone and as a codec of its own.

    Args:
        registry_kind: codec, channel or receiver.
        name: a registered name.

    Raises:
        UsageError, PlugInError: as ``Registry.load``.
    """
    found = registry.installed(registry_kind).load(name)
    if isinstance(found, Preset):
        return (registry_kind,)
    alone = tuple(
        kind for kind, (home, base, _) in _SINGLE.items() if home == registry_kind and issubclass(found, base)
    )
    return (*alone, "codec") if issubclass(found, LineCode) else alone


def checks_for(kind: str, spec: str, *, golden: Iterable[Path] = ()) -> tuple[Check, ...]:
    """The checks that ``spec`` must pass, each to be called; see ``Check``.

    Args:
        kind: a key of ``EXPECTED``.
        spec: of a stack for codec and channel, of one registered plug-in otherwise.
        golden: the ``.json`` files of golden tapes, for a codec.

    Raises:
        UsageError: another kind, or a spec that names no such thing.
        PlugInError: the plug-in cannot be loaded.
    """
    if kind not in EXPECTED:
        raise UsageError(f"Argument 'kind' must be one of {', '.join(EXPECTED)}, not '{kind}'.")
    if kind in _SINGLE:
        runs, exemptions = _single(kind, spec)
    else:
        runs, exemptions = _stack(kind, spec, tuple(golden))
    lifted = {name: reason for name, reason in exemptions.items() if name not in description.ESSENTIAL}
    return tuple(Check(name, spec, runs[name], lifted.get(name)) for name in EXPECTED[kind])


def _single(kind: str, spec: str) -> tuple[dict[str, Callable[[], None]], dict[str, str]]:
    home, base, laws = _SINGLE[kind]
    built = registry.installed(home).build(parse_stack(spec))
    if len(built) != 1 or not isinstance(built[0], base):
        raise UsageError(f"Argument 'spec' must name one {kind}, not '{spec}'.")
    plug_in = built[0]
    known = frozenset(EXPECTED[kind]) | (frozenset(EXPECTED["codec"]) if home == "codec" else frozenset())
    runs: dict[str, Callable[[], None]] = {
        "says_what_it_is": partial(description.says_what_it_is, plug_in, known),
        "parameters_are_declared": partial(description.parameters_are_declared, plug_in),
        "spec_round_trips": partial(description.plug_in_spec_round_trips, plug_in),
        "pickles": partial(description.pickles, plug_in),
    }
    runs |= {name: partial(getattr(laws, name), plug_in) for name in EXPECTED[kind] if name not in runs}
    return runs, dict(plug_in.exemptions)


def _stack(kind: str, spec: str, golden: tuple[Path, ...]) -> tuple[dict[str, Callable[[], None]], dict[str, str]]:
    build: Callable[[Any], Any] = registry.codec if kind == "codec" else registry.channel
    laws: Any = codec if kind == "codec" else channel_model
    whole = build(spec)
    members: tuple[PlugIn, ...] = whole.plug_ins if kind == "codec" else whole.stages
    exemptions = {check: reason for member in members for check, reason in member.exemptions.items()}
    runs: dict[str, Callable[[], None]] = {
        "spec_round_trips": partial(description.stack_spec_round_trips, members, whole.spec, build, whole),
        "pickles": partial(description.pickles, whole),
        "golden_tape_still_decodes": partial(codec.golden_tape_still_decodes, golden),
    }
    if kind == "codec" and not golden:
        exemptions["golden_tape_still_decodes"] = "no golden tape was given"
    runs |= {name: partial(getattr(laws, name), whole) for name in EXPECTED[kind] if name not in runs}
    return runs, exemptions
