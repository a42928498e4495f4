"""The chain, its two costliest parts by themselves, and a whole trial."""

from __future__ import annotations

from dataclasses import dataclass
from statistics import median
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...contracts import registry
from ...contracts.bits import from_bytes
from ...contracts.channel_model import Channel
from ...contracts.codec import Codec
from ...contracts.signal import Signal
from ...contracts.soft_bits import SoftBits
from ...contracts.streams import stream
from . import plain_chain
from .paired import paired
from .plain_line_codes import biphase_values, clocked_groups, clocked_sound
from .row import Row

RATE_HZ = 44_100
SEED = 1

CORE = (
    "saturation/drift:speed_percent=3,weighted_percent=0.2/modulation_noise/dropouts/skew:skew_us=82.5/crosstalk/"
    "replay_amp/hiss:place=replay"
)
"""The core chain: saturation, drift at 3 % offset, modulation noise, dropouts, skew, crosstalk, response, hiss."""

CORE_CODEC = "clocked"
GRADE = "ordinary-worn"
TRIAL_CODEC = "sturdy"
REFERENCE = "contents/rs:parity_bytes=32,engine=reference/interleave:depth=64/frame:block_bytes=128/biphase"
"""The layers of ``sturdy`` with reedsolo in place of the compiled corrector."""

_NS = 1e9
_UNIT = "ns a frame"
_TONE_HZ = 10_000.0


@dataclass(frozen=True, slots=True)
class CoreChain:
    """The core chain, ours and the plain one, from a program to its bytes.

    Attributes:
        program: what is on the tape.
    """

    program: bytes

    @property
    def codec(self) -> Codec:
        return registry.codec(CORE_CODEC)

    def ours(self) -> bytes:
        """Encoded, sent through the channel and heard."""
        worn = registry.channel(CORE).degrade(self.codec.encode(self.program, RATE_HZ), stream(SEED, 0, "channel"))
        return self.codec.decode(worn).payload

    def plain(self) -> bytes:
        """The same with scipy."""
        code: Any = self.codec.line_code
        bits = from_bytes(self.program)
        tracks = clocked_sound(code.bursts(bits), code.duration_s(bits.size), code.edge_ms / 1000, RATE_HZ)
        worn = plain_chain.degrade(registry.channel(CORE), tracks, RATE_HZ, stream(SEED, 0, "channel"))
        return clocked_groups(worn, code.tone_hz, code.burst_s, RATE_HZ)

    def told(self) -> str:
        """Who reads the program."""
        return _who_reads(self.program, self.ours(), self.plain())


@dataclass(frozen=True, slots=True)
class WholeTrial:
    """One trial of a study, ours and the plain one: a recording that stands ready, worn, heard and corrected."""

    program: bytes
    tape: Signal
    channel: Channel
    codec: Codec
    reference: Codec

    @classmethod
    def of(cls, program: bytes) -> WholeTrial:
        """The trial of ``sturdy`` over ``ordinary-worn``."""
        codec = registry.codec(TRIAL_CODEC)
        return cls(program, codec.encode(program, RATE_HZ), registry.channel(GRADE), codec, registry.codec(REFERENCE))

    def ours(self, trial: int = 0) -> bytes:
        """The payload."""
        return self.codec.decode(self.channel.degrade(self.tape, stream(SEED, trial, "channel"))).payload

    def plain(self, trial: int = 0) -> bytes:
        """The same with scipy and reedsolo."""
        tracks = self.tape.samples.astype(np.float64)
        worn = plain_chain.degrade(self.channel, tracks, RATE_HZ, stream(SEED, trial, "channel"))
        code: Any = self.codec.line_code
        values = biphase_values(worn, code.bit_rate_hz, RATE_HZ)
        return self.reference.read((SoftBits(values),)).payload

    def told(self) -> str:
        """Who reads the program."""
        return _who_reads(self.program, self.ours(), self.plain())


def _who_reads(program: bytes, ours: bytes, theirs: bytes) -> str:
    right = ours[: len(program)] == program, theirs[: len(program)] == program
    told = {(True, True): "both read it", (True, False): "the rival misreads it", (False, True): "ours misreads it"}
    return told.get(right, "both misread it")


def core_chain(seconds: float, rounds: int) -> Row:
    code: Any = registry.codec(CORE_CODEC).line_code
    program = stream(SEED, 0, "program").bytes(max(4, int(seconds / code.group_s)))
    chain = CoreChain(program)
    frames = RATE_HZ * code.duration_s(8 * len(program))
    timed = paired(chain.ours, chain.plain, rounds)
    note = f"{frames / RATE_HZ / median(timed.ours):,.0f} times real time; {chain.told()}"
    row = Row("core chain: clocked, encode to decode", "scipy, float64", 1, 12.0, unit=_UNIT, note=note)
    return timed.into(row, _NS / frames)


def whole_trial(seconds: float, rounds: int) -> Row:
    trial = WholeTrial.of(stream(SEED, 0, "program").bytes(max(64, int(100 * seconds))))
    timed = paired(trial.ours, trial.plain, rounds)
    work = f"whole trial: {TRIAL_CODEC} over {GRADE}"
    row = Row(work, "scipy, float64, and reedsolo", 1, 6.0, unit=_UNIT, note=trial.told())
    return timed.into(row, _NS / trial.tape.frames)


def warp(seconds: float, rounds: int) -> Row:
    from ...kernels import warp as kernel

    frames = round(seconds * RATE_HZ)
    knot, speed = 64, 1.03
    blocks = int(frames / speed) // kernel.BLOCK_FRAMES
    outputs = blocks * kernel.BLOCK_FRAMES
    knots = speed * knot * np.arange(outputs // knot + 1, dtype=np.float64)
    slopes = np.full(knots.size, speed)
    turns = _TONE_HZ / RATE_HZ * np.arange(frames)
    left, right = tape = np.stack([np.sin(2 * np.pi * turns), np.cos(2 * np.pi * turns)]).astype(np.float32)
    out = np.empty((2, outputs), np.float32)
    grid, places = np.arange(frames), speed * np.arange(outputs)
    plain = tape.astype(np.float64)

    def ours() -> NDArray[np.float32]:
        kernel.warp(left, right, out[0], out[1], knots, slopes, knot, kernel.weights())
        return out

    def theirs() -> NDArray[np.float64]:
        return np.stack([np.interp(places, grid, row) for row in plain])

    quality, plainly = (_signal_to_noise_db(heard[0], speed) for heard in (ours(), theirs()))
    note = f"10 kHz to {quality:.0f} dB, the rival to {plainly:.0f} dB"
    row = Row("warp at 3 % offset", "numpy.interp", 1, 3.4, unit=_UNIT, note=note)
    return paired(ours, theirs, rounds).into(row, _NS / outputs)


def _signal_to_noise_db(heard: NDArray[Any], speed: float) -> float:
    inner = np.arange(heard.size)[64:-64]
    exact = np.sin(2 * np.pi * _TONE_HZ / RATE_HZ * speed * inner)
    return float(-10 * np.log10(2 * np.mean((heard[inner] - exact) ** 2)))


def noise(seconds: float, rounds: int) -> Row:
    from ...kernels.noise import add_noise

    frames = round(seconds * RATE_HZ)
    rows = np.zeros((2, frames), np.float32)
    key_0, key_1, upper_0, upper_1 = (np.uint64(word) for word in (1, 2, 3, 4))
    generator = stream(SEED, 0, "noise")

    def ours() -> None:
        add_noise(rows[0], rows[1], 0, key_0, key_1, upper_0, upper_1, np.float32(0.01))

    def theirs() -> NDArray[np.float32]:
        return generator.standard_normal((2, frames), np.float32)

    row = Row("Gaussian noise, added to two tracks", "numpy Generator, float32", 1, 8.0, unit=_UNIT)
    return paired(ours, theirs, rounds).into(row, _NS / frames)
