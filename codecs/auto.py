"""Which of the ready stacks a recording is in.

Every ready stack is tried. The verdict of a check decides at once. Without one, a stack fits if what was heard is like
a recording of it: sure bits at a steady pace and near its speed, enough of them that neither voice nor noise passes for
so many; and, where it has layers, if its own redundancy agrees with the bits heard. So noise fits nothing.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from ..contracts import registry
from ..contracts.bits import from_bytes
from ..contracts.codec import Codec
from ..contracts.decoded import Decoded
from ..contracts.errors import PlugInError, UsageError, in_one_line
from ..contracts.preset import Preset
from ..contracts.receiver import Receiver
from ..contracts.signal import Signal
from ..contracts.streams import stream

AUTO = "auto"
"""What stands in place of a spec to have one found."""

LEAST_EVIDENCE = 0.8
LEAST_BITS = 96
"""Twelve bytes: of an hour of voice no stretch was like so many (see the tests for what was tried)."""

MOST_SPEED_PERCENT = 12.0

_MOST_SHIFT = 64
_CHANCE_BYTES = 2
"""Bytes that may agree by chance where 9 are compared: once in 1,800 tapes."""
_CHANCE_SHARE = 0.06
"""The same as a share of bytes compared: 15 times what is expected."""


@dataclass(frozen=True, slots=True)
class Reading:
    """What one ready stack makes of a recording."""

    codec: Codec
    decoded: Decoded


@dataclass(frozen=True, slots=True)
class Tried:
    """One ready stack, tried.

    Attributes:
        name: of the preset.
        told: how it went, in a few words for a person.
        standing: how well it fits: above 0 if it does.
        reading: None if the stack cannot be built, or the receiver cannot read it.
    """

    name: str
    told: str
    standing: float = 0.0
    reading: Reading | None = None

    def __str__(self) -> str:
        return f"{self.name}: {self.told}"

    def to_json(self) -> dict[str, Any]:
        """Plain values."""
        return {"name": self.name, "told": self.told, "fits": self.standing > 0}


def identify(
    signals: tuple[Signal, ...],
    listener: Receiver,
    seed: int = 0,
    trial: int = 0,
    watch: Callable[[int, int], None] | None = None,
) -> tuple[Reading | None, tuple[Tried, ...]]:
    """What the best-fitting ready stack reads, None if none fits, and all that were tried, the best first.

    Args:
        signals: plays of one tape.
        listener: who reads them.
        seed, trial: of the listener's random stream, the same for every stack.
        watch: told before each stack how many of how many have been tried.
    """
    tried: list[Tried] = []
    ready = ready_codecs()
    for number, (name, codec) in enumerate(ready.items()):
        if watch is not None:
            watch(number, len(ready))
        if not isinstance(codec, Codec):
            tried.append(Tried(name, codec, -1.0))
            continue
        refusal = listener.refusal(codec)
        if refusal is not None:
            tried.append(Tried(name, refusal, -1.0))
            continue
        decoded = listener.receive(codec, signals, stream(seed, trial, "receiver"))
        tried.append(_judged(name, codec, decoded, signals))
        if decoded.intact:
            break
    ranked = tuple(sorted(tried, key=lambda one: -one.standing))
    best = ranked[0].reading if ranked and ranked[0].standing > 0 else None
    return best, ranked


def ready_codecs() -> dict[str, Codec | str]:
    """Every ready stack by its name; where it cannot be built, why."""
    installed = registry.installed("codec")
    found: dict[str, Codec | str] = {}
    for name in installed.names():
        try:
            if isinstance(installed.load(name), Preset):
                found[name] = registry.codec(name)
        except (PlugInError, UsageError) as error:
            if "-" in name:  # a preset, by the law of names
                found[name] = in_one_line(error)
    return found


def _judged(name: str, codec: Codec, decoded: Decoded, signals: tuple[Signal, ...]) -> Tried:
    reading = Reading(codec, decoded)
    if decoded.intact:
        return Tried(name, "its check holds", np.inf, reading)
    bits = max((play.bits for play in decoded.plays), default=0)
    if not bits:
        return Tried(name, "nothing heard", 0.0, reading)
    play = max(decoded.plays, key=lambda one: one.evidence)
    percent = play.speed_percent
    heard = f"{play.bits} bits heard, {100 * play.evidence:.0f} % of them sure and in step"
    if play.evidence < LEAST_EVIDENCE or percent is None or abs(percent) > MOST_SPEED_PERCENT:
        return Tried(name, heard, 0.0, reading)
    if play.bits < LEAST_BITS:
        return Tried(name, f"{heard}: too few to tell", 0.0, reading)
    if not codec.layers:
        return Tried(name, heard, play.evidence, reading)
    if not decoded.payload:
        return Tried(name, f"{heard}, but no payload is in them", 0.0, reading)
    spare = max(_agreement(codec, decoded, signal) for signal in signals)
    if spare <= 0:
        return Tried(name, f"{heard}, but its own redundancy does not agree", 0.0, reading)
    return Tried(name, f"{heard}; its check fails", play.evidence + spare, reading)


def _agreement(codec: Codec, decoded: Decoded, signal: Signal) -> float:
    """Bits of redundancy that agree beyond what chance gives, as a share of the bits heard; below 0 if too few.

    The tape that ``decoded`` would have been is compared with what was heard, byte by byte: what agrees tells its bits,
    and the known bytes of the payload had to be told. A stack that is not that of the recording has nothing left over.
    """
    coded = from_bytes(decoded.payload)
    for layer in codec.layers:
        coded = layer.encode(coded)
    heard = codec.line_code.demodulate(signal).bits
    best = 0
    for shift in range(-_MOST_SHIFT, _MOST_SHIFT + 1):
        first, beyond = max(0, -shift), min(coded.size, heard.size - shift)
        whole = (beyond - first) // 8 * 8
        if whole <= 0:
            continue
        same = coded[first : first + whole] == heard[first + shift : first + shift + whole]
        best = max(best, int(same.reshape(-1, 8).all(axis=1).sum()))
    known = len(decoded.payload) - len(decoded.lost)
    by_chance = _CHANCE_BYTES + _CHANCE_SHARE * len(decoded.lost)
    return 8 * (best - known - by_chance) / max(heard.size, 1)
