"""Checks of a receiver. It is tried on every registered ready codec that it does not refuse."""

from __future__ import annotations

import numpy as np

from ..codec import Codec
from ..decoded import Decoded
from ..preset import Preset
from ..receiver import Receiver
from ..registry import codec as build
from ..registry import installed
from ..signal import Signal
from ..streams import stream
from . import probes
from .channel_model import undisturbed
from .check import require
from .codec import is_right, sample_payload, well_formed


def _accepted(receiver: Receiver) -> tuple[Codec, ...]:
    """The ready codecs that the receiver accepts, the shortest tape first."""
    registry = installed("codec")
    ready = [build(name) for name in registry.names() if isinstance(registry.load(name), Preset)]
    accepted = [codec for codec in ready if receiver.refusal(codec) is None]
    require(bool(accepted), f"{receiver.spec} refuses every ready codec.")
    return tuple(sorted(accepted, key=lambda codec: (codec.duration_s(4), codec.spec)))


def _trial(number: int) -> np.random.Generator:
    return stream(61, number, "receiver")


def _receive(receiver: Receiver, codec: Codec, what: str, rng: np.random.Generator, *signals: Signal) -> Decoded:
    try:
        decoded = receiver.receive(codec, signals, rng)
    except Exception as error:
        raise AssertionError(f"{receiver.spec} on {what} raised {type(error).__name__}: {error}") from error
    well_formed(decoded, what, *signals)
    return decoded


def same_generator_same_reading(receiver: Receiver) -> None:
    """The same generator state and the same tape give the same answer, events included."""
    for codec in _accepted(receiver):
        tape = codec.encode(probes.payload(4))
        once, again = (_receive(receiver, codec, "a clean tape", _trial(0), tape) for _ in range(2))
        require(once == again, f"{receiver.spec} read one tape of {codec} in two ways.")


def receives_silence_and_noise(receiver: Receiver) -> None:
    """Any sound, and none, gives an answer that is not declared intact."""
    codec = _accepted(receiver)[0]
    for what, signals in (
        ("no play", ()),
        ("zero frames", (Signal(np.zeros((2, 0)), 44_100),)),
        ("silence", (probes.silence(2.0),)),
        ("noise", (probes.noise(2.0, 1.0, 62),)),
        ("another format's tape", (probes.another_format(),)),
    ):
        decoded = _receive(receiver, codec, what, _trial(1), *signals)
        require(decoded.intact is not True, f"{receiver.spec} declared {what} intact.")


def input_is_untouched(receiver: Receiver) -> None:
    """The plays stay as they were."""
    codec = _accepted(receiver)[0]
    tape = codec.encode(probes.payload(4))
    before = probes.fingerprint(tape)
    _receive(receiver, codec, "a clean tape", _trial(2), tape)
    require(probes.fingerprint(tape) == before, f"{receiver.spec} changed the signal it was given.")


def global_random_state_is_untouched(receiver: Receiver) -> None:
    """All randomness comes from the generator that is passed in."""
    codec = _accepted(receiver)[0]
    tape = codec.encode(probes.payload(4))
    undisturbed(lambda: receiver.receive(codec, (tape,), _trial(3)))


def wire_and_clean_tape_give_the_payload(receiver: Receiver) -> None:
    """A tape played straight into the receiver gives the payload, for every ready codec that is not refused."""
    for codec in _accepted(receiver):
        payload = sample_payload(codec)
        decoded = _receive(receiver, codec, "a clean tape", _trial(4), codec.encode(payload))
        require(
            is_right(decoded, payload),
            f"{receiver.spec} on a clean tape of {codec}: {len(payload)} bytes in, {len(decoded.payload)} out, "
            f"intact={decoded.intact}, lost={len(decoded.lost)}.",
        )


def refusal_is_one_line(receiver: Receiver) -> None:
    """A refusal is one line that a person can read, and the same each time."""
    registry = installed("codec")
    for name in registry.names():
        if isinstance(registry.load(name), Preset):
            said = receiver.refusal(build(name))
            require(said == receiver.refusal(build(name)), f"the refusal of '{name}' changes.")
            require(
                said is None or (said.strip() != "" and said.isprintable()), f"the refusal of '{name}' is {said!r}."
            )
