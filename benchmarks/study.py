"""A study: which programs, codecs, receivers and channels meet, how often and with which seed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeVar

from ..contracts import registry
from ..contracts.channel_model import Channel
from ..contracts.codec import MOST_PAYLOAD_BYTES, Codec
from ..contracts.errors import UsageError, in_one_line
from ..contracts.receiver import Receiver

MOST_TRIALS = 1_000_000
MOST_SEED = 2**63 - 1

DEFAULT_CODECS = ("plain-clocked", "plain-biphase", "standard-300", "sturdy")
DEFAULT_RECEIVERS = ("sound",)
DEFAULT_CHANNELS = ("new", "played", "worn", "attic")
DEFAULT_TRIALS = 40
DEFAULT_SEED = 1

Made = TypeVar("Made", Codec, Channel, Receiver)


@dataclass(frozen=True)
class Task:
    """One codec, heard by one receiver, over one channel: one row of the answer.

    Attributes:
        codec_name, receiver_name, channel_name: as the user wrote them.
        refusal: why the receiver cannot decode the codec; None if it can.
    """

    codec_name: str
    receiver_name: str
    channel_name: str
    codec: Codec
    receiver: Receiver
    channel: Channel
    refusal: str | None


@dataclass(frozen=True)
class Study:
    """What is compared. The same study gives the same tallies, whoever runs it.

    Attributes:
        program: the payload; program_name: what to call it.
        codecs, receivers, channels: specs, as the user wrote them.
        trials: tapes for each task, fixed beforehand.
        seed: what all randomness follows from.
        sample_rate_hz: of the simulated audio.

    Raises:
        UsageError: an empty program, one that a receiver has no room for, a bad spec, the same stack twice, trials or
            seed out of range.
    """

    program: bytes
    program_name: str
    codecs: tuple[str, ...] = DEFAULT_CODECS
    receivers: tuple[str, ...] = DEFAULT_RECEIVERS
    channels: tuple[str, ...] = DEFAULT_CHANNELS
    trials: int = DEFAULT_TRIALS
    seed: int = DEFAULT_SEED
    sample_rate_hz: int = 44_100

    def __post_init__(self) -> None:
        if not 1 <= len(self.program) <= MOST_PAYLOAD_BYTES:
            raise UsageError(f"Argument 'program' must hold 1 to {MOST_PAYLOAD_BYTES} bytes, not {len(self.program)}.")
        if not 1 <= self.trials <= MOST_TRIALS:
            raise UsageError(f"Argument 'trials' must be 1 to {MOST_TRIALS}, not {self.trials}.")
        if not 0 <= self.seed <= MOST_SEED:
            raise UsageError(f"Argument 'seed' must be 0 to {MOST_SEED}, not {self.seed}.")
        for task in self.tasks():
            if task.refusal is None:
                task.receiver.check_load(task.codec, len(self.program))

    def tasks(self) -> tuple[Task, ...]:
        """Every codec with every receiver over every channel, channels outermost."""
        codecs = _build("codec", self.codecs, registry.codec)
        receivers = _build("receiver", self.receivers, registry.receiver)
        channels = _build("channel", self.channels, registry.channel)
        return tuple(
            Task(codec_name, receiver_name, channel_name, codec, receiver, channel, receiver.refusal(codec))
            for channel_name, channel in channels
            for receiver_name, receiver in receivers
            for codec_name, codec in codecs
        )


def _build(kind: str, specs: tuple[str, ...], make: Callable[[str], Made]) -> list[tuple[str, Made]]:
    if not specs:
        raise UsageError(f"Argument '{kind}s' must name at least one {kind}.")
    built: dict[str, tuple[str, Made]] = {}
    for spec in specs:
        made = make(spec)
        earlier = built.setdefault(made.spec, (spec, made))
        if earlier[1] is not made:
            pair = f"'{in_one_line(earlier[0], 60)}' and '{in_one_line(spec, 60)}'"
            raise UsageError(f"{kind}: {pair} are the same; name each {kind} once.")
    return list(built.values())
