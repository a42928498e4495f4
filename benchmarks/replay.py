"""A replay: one tape of a study played once more, with what the decoder was given kept for a look.

Everything that a row of an answer says suffices to repeat it: the specs, the seed and the program.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any, NamedTuple

import numpy as np

from ..contracts import registry
from ..contracts.channel_model import Channel
from ..contracts.codec import Codec
from ..contracts.decoded import Decoded
from ..contracts.receiver import Receiver
from ..contracts.signal import Signal
from ..contracts.soft_bits import CERTAIN, SoftBits
from ..contracts.streams import stream
from .bit_trace import Trace, trace
from .tally import Tally, score

OWN_DECODER = "sound"
"""The receiver that is nothing but the codec's own decoder."""


@dataclass(frozen=True)
class Overheard(Codec):
    """A codec that remembers what any receiver gave it to read."""

    reads: list[tuple[tuple[SoftBits, ...], Decoded]] = field(default_factory=list, compare=False)

    def read(self, passes: tuple[SoftBits, ...]) -> Decoded:
        decoded = super().read(passes)
        self.reads.append((passes, decoded))
        return decoded


@dataclass(frozen=True, slots=True, eq=False)
class Replayed:
    """What one replay gave.

    Attributes:
        worn: the sound that was heard.
        heard: the soft bits that were read; none if the receiver read none.
        tally: how it ended.
    """

    worn: Signal
    decoded: Decoded
    heard: SoftBits
    tally: Tally


@dataclass(frozen=True)
class Replay:
    """One row's candidate, ready to be played again.

    Attributes:
        program: the payload.
        seed, sample_rate_hz: of the study.
    """

    codec: Codec
    receiver: Receiver
    channel: Channel
    program: bytes
    seed: int
    sample_rate_hz: int

    @cached_property
    def tape(self) -> Signal:
        """The recording."""
        return self.codec.encode(self.program, self.sample_rate_hz)

    def play(self, trial: int, channel: Channel | None = None, receiver: Receiver | None = None) -> Replayed:
        """The tape of that trial, over another channel or heard by another receiver where given."""
        through = self.channel if channel is None else channel
        worn = through.degrade(self.tape, stream(self.seed, trial, "channel"))
        return self._heard(worn, trial, self.receiver if receiver is None else receiver)

    @property
    def by_hardware(self) -> bool:
        """Whether something else than the codec's own decoder listens."""
        return self.receiver.name != OWN_DECODER

    def follow(self, replayed: Replayed) -> Trace:
        """What became of every recorded bit; where the bits lie, the codec's own demodulator tells best."""
        sent = self.codec.line_bits(self.program)
        found = trace(sent, replayed.heard)
        if not self.by_hardware:
            return found
        times_s = trace(sent, self.codec.line_code.demodulate(replayed.worn)).times_s
        return found if np.isnan(times_s).any() else replace(found, times_s=times_s)

    def fresh(self) -> Replayed:
        """The recording itself, heard without any wear."""
        return self._heard(self.tape, 0, self.receiver)

    def _heard(self, worn: Signal, trial: int, receiver: Receiver) -> Replayed:
        decoded, heard = overheard(self.codec, receiver, worn, stream(self.seed, trial, "receiver"))
        return Replayed(worn, decoded, heard, score(self.program, decoded))


class Hearing(NamedTuple):
    """What a receiver made of a play, and the soft bits that it read; none if it read none."""

    decoded: Decoded
    heard: SoftBits


def overheard(codec: Codec, receiver: Receiver, signal: Signal, rng: np.random.Generator) -> Hearing:
    """One play heard by ``receiver``, with a look at the bits that it gave the codec to read."""
    listening = Overheard(codec.layers, codec.line_code)
    decoded = receiver.receive(listening, (signal,), rng)
    # A receiver may read several times and keep the best: its plays tell which.
    kept = [passes[0] for passes, read in listening.reads if read.plays is decoded.plays and passes]
    return Hearing(decoded, kept[0] if kept else _from_memory(codec, decoded))


def _from_memory(codec: Codec, decoded: Decoded) -> SoftBits:
    """The bits that would have given this payload: of hardware that decodes by itself, only its memory can be read."""
    bits = codec.line_bits(decoded.payload)
    values = np.where(bits > 0, CERTAIN, -CERTAIN)
    if not codec.layers:
        for place in decoded.lost:
            values[8 * place : 8 * place + 8] = 0.0
    if not decoded.times_s:
        return SoftBits(values)
    return SoftBits(
        values, np.interp(np.linspace(0, 1, bits.size), np.linspace(0, 1, len(decoded.times_s)), decoded.times_s)
    )


def replay_of(row: Mapping[str, Any], program: bytes) -> Replay:
    """The candidate of a row as ``Record.as_json`` writes it, with the program that it is about.

    Raises:
        TapewrightError: a spec that cannot be built here.
    """
    return Replay(
        codec=registry.codec(row["codec_spec"]),
        receiver=registry.receiver(row["receiver_spec"]),
        channel=registry.channel(row["channel_spec"]),
        program=program,
        seed=row["seed"],
        sample_rate_hz=row["sample_rate_hz"],
    )
