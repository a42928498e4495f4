"""Bits of memory that stay 0, or 1, to the end of the program: a latch, a line of the bus, or a whole track."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from .happening import Happening, Placement
from .memory_readings import Bytes

TRACKS = {"left": (1, 3, 5, 7), "right": (2, 4, 6, 8)}
"""Bits of a byte on each track where even bits go left and odd bits right, counted from 0."""

_SHORTEST = 16
"""Bytes for which a bit must have stayed the same."""

_FEWEST_OTHERS = 3
"""Times that the program has the other bit there."""

_MOST = 6
"""Where more bits than this stay the same, it is not bits that are stuck."""


@dataclass(frozen=True, slots=True)
class StuckBits:
    """One bit of every byte, or all bits of one track.

    Attributes:
        bits: 1 to 8 in the order of the tape.
        value: 0 or 1.
        since: position of the first byte from which on it is so.
    """

    bits: tuple[int, ...]
    value: int
    since: int


def stuck_bits(program: Bytes, seen: Bytes, split_tracks: bool) -> tuple[StuckBits, ...]:
    """The bits that do not move to the end of ``seen``, though those of the program do; none if they are too many."""
    columns = np.unpackbits(seen).reshape(-1, 8)
    wanted = np.unpackbits(program[: seen.size]).reshape(-1, 8)
    if wanted.shape != columns.shape:
        return ()
    found: list[StuckBits] = []
    for bits in (*(TRACKS.values() if split_tracks else ()), *((bit,) for bit in range(1, 9))):
        at = [bit - 1 for bit in bits]
        value = int(columns[-1, at[0]])
        others = np.flatnonzero((columns[:, at] != value).any(axis=1))
        since = int(others[-1]) + 1 if others.size else 0
        unmoved = int(np.count_nonzero(wanted[since:, at] != value))
        is_told = any(set(bits) <= set(known.bits) for known in found)
        if seen.size - since >= _SHORTEST and unmoved >= _FEWEST_OTHERS and not is_told:
            found.append(StuckBits(bits, value, since))
    return tuple(found) if sum(len(stuck.bits) for stuck in found) <= _MOST else ()


def without(held: tuple[StuckBits, ...], heard: Bytes) -> Bytes:
    """``heard`` less the bits that are stuck."""
    left = heard.copy()
    for stuck in held:
        for bit in stuck.bits:
            left[stuck.since :] &= 0xFF ^ (0x80 >> bit - 1)
    return left


def tell_stuck(held: tuple[StuckBits, ...], length: int, place: Placement) -> Iterator[Happening]:
    """What is stuck, in words."""
    for stuck in held:
        since = f"{stuck.value} in every byte from {place.address(stuck.since)} on"
        evidence = f"{length - stuck.since} bytes in a row"
        if len(stuck.bits) > 1:
            track = next(name for name, bits in TRACKS.items() if bits == stuck.bits)
            yield Happening(
                "dead_track", f"all bits of the {track} track are {since}: it is dead", place.origin + stuck.since
            )
            continue
        bit = stuck.bits[0]
        in_memory = bit - 1 if place.least_significant_first else 8 - bit
        ordinal = {1: "1st", 2: "2nd", 3: "3rd"}.get(bit, f"{bit}th")
        what = f"bit {in_memory} ({ordinal} on the tape) is {since}: its latch or line is stuck"
        yield Happening("stuck_bit", what, place.origin + stuck.since, bit, evidence)
