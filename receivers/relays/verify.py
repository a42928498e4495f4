"""Verify: the tape played again and compared against memory, to the first difference.

A switch takes the write pulse from the cells to a comparator: a changeover of each data wire against one of its cell.
Where they differ the alarm relay holds itself and opens the clock's feed, and the machine stands at that byte. A pass
without a stop says that two plays agree, not that the tape was right: what is wrong on the tape is wrong twice.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from .load_record import Load


@dataclass(frozen=True, slots=True)
class Difference:
    """Where a verify pass stopped.

    Attributes:
        time_s: on the capture.
        address: of the counter.
        kept: what memory holds there; None if nothing was ever written.
        heard: what came from the tape.
    """

    time_s: float
    address: int
    kept: int | None
    heard: int

    def __str__(self) -> str:
        kept = "nothing" if self.kept is None else f"{self.kept:02X}"
        return f"{self.time_s:9.4f} s  address {self.address}: memory holds {kept}, the tape says {self.heard:02X}"


@dataclass(frozen=True, slots=True)
class Verified:
    """What came of a verify pass.

    Attributes:
        compared: bytes found equal before the stop, or before the end.
        missed: addresses that memory holds and the pass did not reach.
        difference: the first; None if there is none.
    """

    compared: int
    missed: tuple[int, ...]
    difference: Difference | None

    @property
    def agrees(self) -> bool:
        """Whether every byte in memory was met again, and no other."""
        return self.difference is None and not self.missed


def compare(kept: Mapping[int, int], again: Load) -> Verified:
    """A second play against memory.

    Args:
        kept: address to byte, as the load before left them.
        again: what the same machine would have written.
    """
    equal: set[int] = set()
    difference = None
    for time_s, address, heard in sorted(again.memory.writes):
        if kept.get(address) != heard:
            difference = Difference(time_s, address, kept.get(address), heard)
            break
        equal.add(address)
    return Verified(len(equal), tuple(sorted(set(kept) - equal)), difference)
