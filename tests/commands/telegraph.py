"""A line code and a receiver for tests of the commands.

The telegraph is quick, exact, and easy to damage at a known place: each bit is eight frames of +-0.5 on
both tracks, after a leader of silence; any frame beyond +-0.05 starts the bits.
"""

from __future__ import annotations

from dataclasses import dataclass
from importlib.metadata import EntryPoint

import numpy as np
from tapewright.contracts import registry
from tapewright.contracts.bits import Bits
from tapewright.contracts.codec import Codec
from tapewright.contracts.decoded import Decoded, Event
from tapewright.contracts.line_code import LineCode
from tapewright.contracts.parameters import parameter
from tapewright.contracts.receiver import Receiver
from tapewright.contracts.signal import Signal
from tapewright.contracts.soft_bits import SoftBits

FRAMES_A_BIT = 8


@dataclass(frozen=True)
class Telegraph(LineCode):
    """See the module's text."""

    name = "telegraph"
    summary = "For tests only."
    needs = "relays"

    leader_s: float = parameter(0.1, "Silence before the first bit.", unit="s", low=0, high=10)

    def modulate(self, bits: Bits, sample_rate_hz: int = 44_100) -> Signal:
        line = np.repeat(np.where(bits > 0, 0.5, -0.5), FRAMES_A_BIT)
        return Signal(np.concatenate([np.zeros(round(self.leader_s * sample_rate_hz)), line]), sample_rate_hz)

    def demodulate(self, signal: Signal) -> SoftBits:
        loud = np.flatnonzero(np.abs(signal.samples[0]) > 0.05)
        if not loud.size:
            return SoftBits([], events=(Event("nothing heard"),))
        line = signal.samples[0][loud[0] :]
        line = line[: line.size - line.size % FRAMES_A_BIT].reshape(-1, FRAMES_A_BIT).mean(axis=1)
        times = (loud[0] + FRAMES_A_BIT * (np.arange(line.size) + 0.5)) / signal.sample_rate_hz
        weak = np.flatnonzero(np.abs(line) < 0.1)
        events = (Event("signal lost", float(times[weak[0]])),) if weak.size else ()
        return SoftBits(np.where(np.abs(line) < 0.1, 0.0, line * 20), times, events)

    def duration_s(self, bits: int) -> float:
        return self.leader_s + bits * FRAMES_A_BIT / 44_100


@dataclass(frozen=True)
class Apprentice(Receiver):
    """Reads formats without layers only, and adds four bytes that tell which random stream it got."""

    name = "apprentice"
    summary = "For tests only."

    def refusal(self, codec: Codec) -> str | None:
        return "the apprentice cannot count blocks." if codec.layers else None

    def receive(self, codec: Codec, signals: tuple[Signal, ...], rng: np.random.Generator) -> Decoded:
        return Decoded(codec.decode(*signals).payload + rng.bytes(4), None)


def with_telegraph(kind: str) -> registry.Registry:
    """What is installed, and the two of this file."""
    found = registry.Registry(kind, dict(_INSTALLED(kind).claims))
    added = {"codec": Telegraph, "receiver": Apprentice}.get(kind)
    if added is not None:
        found.claims[added.name] = (EntryPoint(added.name, f"{__name__}:{added.__name__}", registry.KINDS[kind]),)
    return found


_INSTALLED = registry.installed
