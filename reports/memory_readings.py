"""Ways in which a program can come to stand in memory, each with the bytes it predicts.

A machine reads a tape bit by bit. From the moment it has lost a bit, or counted one twice, every later byte is made
of other bits of the program: a reading is one such relation of memory to program. Bits are counted in the order of
the tape, from the first bit of the program.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Bytes = NDArray[np.uint8]

NEAR_BITS = 16
"""Bits lost or doubled, one after the other, that are looked for everywhere."""

NEAR_BYTES = 24
"""The same for whole bytes."""

_SEED_BYTES = 4
_SEEDS = 8
_STEPS_ASIDE = 4


@dataclass(frozen=True, slots=True)
class Reading:
    """One relation of memory to program.

    Attributes:
        kind: "stream" (memory continues the program's bits), "aside" (each byte's bits are a few steps aside in their
            own byte), "constant" (memory holds one byte, whatever the program says) or "unknown".
        offset: stream: bit n of memory is bit n + offset of the program. Aside: the same by whole bytes, in bits.
        inverted: every bit is the other one.
        reversed: the bits of each byte stand in the other order.
        steps: aside only: by how many steps the bits come early (positive) or late.
        value: constant only: the byte.
    """

    kind: str
    offset: int = 0
    inverted: bool = False
    reversed: bool = False
    steps: int = 0
    value: int = 0

    @property
    def turn(self) -> tuple[bool, bool]:
        """What is the same for the whole byte."""
        return self.inverted, self.reversed


STRAIGHT = Reading("stream")
UNKNOWN = Reading("unknown")
CONSTANTS = (Reading("constant", value=0x00), Reading("constant", value=0xFF))


def stream_readings(program: Bytes, seen: Bytes) -> Iterator[Reading]:
    """The program's bits in order, from every place that is near or for which something speaks."""
    offsets = {*range(-NEAR_BITS, NEAR_BITS + 1), *range(-8 * NEAR_BYTES, 8 * NEAR_BYTES + 1, 8)}
    offsets.update(8 * apart for apart in _likely_distances(program, seen))
    for offset in sorted(offsets, key=lambda bits: (abs(bits), bits)):
        yield Reading("stream", offset)


def turned_readings(program: Bytes, seen: Bytes) -> Iterator[Reading]:
    """The same for a program whose bits are inverted, or stand in reverse order in each byte, or both."""
    for turn in ((True, False), (False, True), (True, True)):
        offsets = set(range(-8, 9))
        offsets.update(8 * apart for apart in _likely_distances(turned(program, turn), seen))
        for offset in sorted(offsets, key=lambda bits: (abs(bits), bits)):
            yield Reading("stream", offset, *turn)


def aside_readings() -> Iterator[Reading]:
    """Each byte's own bits a few steps early or late, silence filling in: steps without data stand between bytes."""
    for steps in (*range(-_STEPS_ASIDE, 0), *range(1, _STEPS_ASIDE + 1)):
        for apart in range(-2, 3):
            yield Reading("aside", 8 * apart, steps=steps)


def turned(program: Bytes, turn: tuple[bool, bool]) -> Bytes:
    """The program inverted or with the bits of its bytes reversed."""
    inverted, in_reverse = turn
    if in_reverse:
        program = np.packbits(np.unpackbits(program).reshape(-1, 8)[:, ::-1])
    return ~program if inverted else program


def predicted(reading: Reading, program: Bytes, length: int) -> tuple[Bytes, NDArray[np.bool_]]:
    """The first ``length`` bytes of memory under ``reading``, and which of them it says anything about."""
    if reading.kind == "constant":
        return np.full(length, reading.value, np.uint8), np.ones(length, bool)
    if reading.kind == "unknown":
        return np.zeros(length, np.uint8), np.zeros(length, bool)
    bits = np.unpackbits(turned(program, reading.turn))
    first = reading.offset
    wanted = np.arange(first, first + 8 * length)
    inside = (wanted >= 0) & (wanted < bits.size)
    taken = np.where(inside, bits[wanted.clip(0, max(bits.size - 1, 0))] if bits.size else 0, 0).astype(np.uint8)
    of_bytes = np.packbits(taken)
    if reading.steps > 0:
        of_bytes = (of_bytes << reading.steps).astype(np.uint8)
    elif reading.steps < 0:
        of_bytes = (of_bytes >> -reading.steps).astype(np.uint8)
    return of_bytes, np.asarray(inside.reshape(-1, 8).all(axis=1))


def _likely_distances(program: Bytes, seen: Bytes) -> list[int]:
    """Distances in bytes from memory to program at which the most short runs agree."""
    places: dict[bytes, int | None] = {}
    whole = program.tobytes()
    for start in range(len(whole) - _SEED_BYTES + 1):
        run = whole[start : start + _SEED_BYTES]
        places[run] = None if run in places else start  # what stands twice says nothing
    told = seen.tobytes()
    votes: Counter[int] = Counter()
    for start in range(len(told) - _SEED_BYTES + 1):
        found = places.get(told[start : start + _SEED_BYTES])
        if found is not None:
            votes[found - start] += 1
    return [distance for distance, count in votes.most_common(_SEEDS) if count > 1]
