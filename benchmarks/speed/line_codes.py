"""The line codes alone, each way."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from ...contracts import registry
from ...contracts.bits import from_bytes
from ...contracts.codec import Codec
from ...contracts.streams import stream
from .chain import RATE_HZ, SEED
from .paired import paired
from .plain_line_codes import biphase_sound, biphase_values, clocked_groups, clocked_sound, fsk_characters, fsk_sound
from .row import Row

_LEVEL = 10 ** (-1 / 20)


@dataclass(frozen=True, slots=True)
class Pair:
    """A line code and its plain form.

    Attributes:
        codec: the line code as a codec.
        make: the plain sound of a program.
        read: what the plain receiver makes of two tracks: bytes, or one value a bit.
        bytes_a_second: of the program on the tape.
    """

    codec: Codec
    make: Callable[[Codec, bytes], np.ndarray[Any, Any]]
    read: Callable[[Codec, np.ndarray[Any, Any]], Any]
    bytes_a_second: float


def pairs() -> dict[str, Pair]:
    """By name."""
    return {
        "fsk": Pair(registry.codec("fsk"), _fsk, lambda codec, tracks: fsk_characters(tracks, RATE_HZ), 27.0),
        "biphase": Pair(
            registry.codec("biphase"), _biphase, lambda codec, tracks: biphase_values(tracks, 1200.0, RATE_HZ), 150.0
        ),
        "clocked": Pair(registry.codec("clocked"), _clocked, _read_clocked, 1.3),
    }


def _fsk(codec: Codec, program: bytes) -> np.ndarray[Any, Any]:
    code: Any = codec.line_code
    return fsk_sound(code.line_bits(from_bytes(program)), code.leader_s, code.tail_s, RATE_HZ)


def _biphase(codec: Codec, program: bytes) -> np.ndarray[Any, Any]:
    code: Any = codec.line_code
    return biphase_sound(_LEVEL * code.levels(from_bytes(program))[0], code.level_rate_hz, code.tail_s, RATE_HZ)


def _clocked(codec: Codec, program: bytes) -> np.ndarray[Any, Any]:
    code: Any = codec.line_code
    bits = from_bytes(program)
    return clocked_sound(code.bursts(bits), code.duration_s(bits.size), code.edge_ms / 1000, RATE_HZ)


def _read_clocked(codec: Codec, tracks: np.ndarray[Any, Any]) -> bytes:
    code: Any = codec.line_code
    return clocked_groups(tracks, code.tone_hz, code.burst_s, RATE_HZ)


def line_codes(seconds: float, rounds: int) -> list[Row]:
    return [row for name, pair in pairs().items() for row in _both_ways(name, pair, seconds, rounds)]


def _both_ways(name: str, pair: Pair, seconds: float, rounds: int) -> list[Row]:
    program = stream(SEED, 0, "program").bytes(max(4, int(pair.bytes_a_second * seconds)))
    tape = pair.codec.encode(program, RATE_HZ)
    plain = tape.samples.astype(np.float64)
    made = paired(lambda: pair.codec.encode(program, RATE_HZ), lambda: pair.make(pair.codec, program), rounds)
    read = paired(lambda: pair.codec.decode(tape), lambda: pair.read(pair.codec, plain), rounds)
    return [
        timed.into(Row(f"{name} {way}", "scipy, float64", 1, 10.0, unit="ns a frame"), 1e9 / tape.frames)
        for way, timed in (("encode", made), ("decode", read))
    ]
