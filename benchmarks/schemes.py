"""Schemes: the layers that a choice puts over each line code.

Those that are known to belong together, in the strengths that are worth a first look, and those of every registered
preset; a layer of another package stands alone and below the outermost check. Finer strengths are tried around what
survives.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache
from itertools import product

import numpy as np

from ..contracts import registry
from ..contracts.codec import Codec
from ..contracts.errors import TapewrightError
from ..contracts.layer import Layer
from ..contracts.line_code import LineCode
from ..contracts.plug_in import PlugIn
from ..contracts.preset import Preset
from ..contracts.soft_bits import SoftBits
from ..contracts.spec import Item, parse_stack

Layers = tuple[Layer, ...]

PROBE = bytes(range(97, 161))
"""A payload to try layers out with."""

_WRONG_AT = (0.2, 0.5, 0.8)
"""Where in it a bit is turned, as shares of its coded length."""

FIRST_LOOK: tuple[tuple[str, dict[str, tuple[int | str, ...]]], ...] = (
    ("", {}),
    ("parity", {}),
    ("vote", {}),
    ("crc", {}),
    ("contents", {}),
    ("contents/repeat", {"copies": (3, 5)}),
    ("contents/frame", {"block_bytes": (64, 128)}),
    ("contents/hamming/interleave:depth=64", {}),
    ("contents/rs", {"parity_bytes": (16, 32, 64)}),
    ("contents/rs/interleave:depth=64/frame", {"parity_bytes": (16, 32, 64, 96), "block_bytes": (64, 128)}),
    ("contents/convolutional/scatter", {"rate": ("1of2", "2of3", "3of4")}),
    ("contents/rs/convolutional/scatter", {"parity_bytes": (16, 32), "rate": ("1of2", "2of3", "3of4", "5of6")}),
)
"""Stacks of layers, the outermost first, and the values that one of them is tried with."""

OUTERMOST = "contents"


def schemes() -> tuple[Layers, ...]:
    """Every scheme once, whatever is not installed or does not work left out."""
    found: dict[Layers, None] = {}
    for layers in (*_first_look(), *_of_presets(), *_of_strangers()):
        found[layers] = None
    return tuple(found)


def _first_look() -> Iterator[Layers]:
    for stack, strengths in FIRST_LOOK:
        for values in product(*strengths.values()):
            yield from _built(stack, dict(zip(strengths, values, strict=True)))


def _built(stack: str, strength: dict[str, int | str]) -> Iterator[Layers]:
    """The layers of ``stack`` with those parameters, each given to the member that has it."""
    codecs = registry.installed("codec")
    try:
        members = codecs.build(parse_stack(stack)) if stack else ()
        named = tuple(
            Item(member.name, tuple({**member.arguments(), **_of(member, strength)}.items())) for member in members
        )
        layers = tuple(member for member in codecs.build(named) if isinstance(member, Layer))
    except TapewrightError:
        return
    yield layers


def _of(member: PlugIn, strength: dict[str, int | str]) -> dict[str, int | str]:
    return {name: value for name, value in strength.items() if name in member.arguments()}


@lru_cache(maxsize=4096)
def mends(layers: Layers) -> bool:
    """Whether ``layers`` repair a wrong bit wherever it stands, by trying it.

    >>> from ..contracts import registry
    >>> mends(registry.codec("contents/rs/clocked").layers), mends(registry.codec("contents/frame/clocked").layers)
    (True, False)
    """
    try:
        bits = np.unpackbits(np.frombuffer(PROBE, np.uint8))
        coded = bits
        for layer in layers:
            coded = layer.encode(coded)
        for share in _WRONG_AT:
            values = np.where(coded > 0, 4.0, -4.0)
            values[int(share * len(values))] *= -1
            passes: tuple[SoftBits, ...] = (SoftBits(values),)
            for layer in reversed(layers):
                passes = layer.decode(passes).passes
            if not any(np.array_equal(one.values[: bits.size] > 0, bits > 0) for one in passes):
                return False
    except Exception:  # whatever a stranger's layer does
        return False
    return True


def ready(code: LineCode) -> Iterator[Codec]:
    """The registered presets over a line code of that kind, exactly as they stand."""
    for layers, own in _presets():
        if type(own) is type(code):
            yield Codec(layers, own)


def _of_presets() -> Iterator[Layers]:
    for layers, _ in _presets():
        yield layers


def _presets() -> Iterator[tuple[Layers, LineCode]]:
    codecs = registry.installed("codec")
    for name in codecs.names():
        try:
            found = codecs.load(name)
            members = codecs.build((Item(name),)) if isinstance(found, Preset) else ()
        except TapewrightError:
            continue
        if members and isinstance(members[-1], LineCode):
            layers = tuple(member for member in members[:-1] if isinstance(member, Layer))
            if len(layers) == len(members) - 1:
                yield layers, members[-1]


def _of_strangers() -> Iterator[Layers]:
    """Layers that no scheme names, by themselves and under the check."""
    codecs = registry.installed("codec")
    named = {item.name for stack, _ in FIRST_LOOK if stack for item in parse_stack(stack)}
    for name in codecs.names():
        try:
            found = codecs.load(name)
        except TapewrightError:
            continue
        if isinstance(found, type) and issubclass(found, Layer) and name not in named:
            yield from _built(name, {})
            yield from _built(f"{OUTERMOST}/{name}", {})
