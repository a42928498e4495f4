"""`repeat`: the whole stream several times over, and what most of its copies say.

The data are filled up with zeros to whole bytes. The copies follow each other, so that a dropout hits one of them; a
zero stands between two, so that every second one has its bits on the other track.
What was heard of a bit is added up, copies and plays alike, which is a majority vote where all are equally sure. Where
bits were lost or gained on the way the copies are aligned first (``copy_alignment``).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...contracts.bits import Bits
from ...contracts.decoded import Event
from ...contracts.layer import Heard, Layer
from ...contracts.parameters import parameter
from ...contracts.soft_bits import LOST, SoftBits
from .copy_alignment import copy_places, even_places, pitch
from .passes import added


@dataclass(frozen=True)
class Repeat(Layer):
    """An odd number of copies of everything above it."""

    name = "repeat"
    summary = "The whole load several times over; what most copies say, the sure ones counting for more."
    needs = "microcontroller"
    hands_on = "whole_bytes"

    copies: int = parameter(3, "How often everything is sent; an odd number, as a vote needs.", choices=(3, 5, 7, 9))

    def coded_bits(self, data_bits: int) -> int:
        size = 8 * -(-data_bits // 8)
        return self.copies * pitch(size) - 1 if size else 0

    def encode(self, bits: Bits) -> Bits:
        padded = np.pad(bits, (0, -bits.size % 8))
        sent = np.zeros(self.coded_bits(bits.size), np.uint8)
        sent[even_places(padded.size, self.copies)] = padded
        return sent

    def decode(self, passes: tuple[SoftBits, ...]) -> Heard:
        """One pass for each length that the data may have, that of which most was heard first."""
        votes: dict[int, list[NDArray[np.float32]]] = {}
        times: dict[int, NDArray[np.float64]] = {}
        events: list[Event] = []
        for number, heard in enumerate(passes, start=1):
            places = copy_places(np.sign(heard.values), self.copies)
            bits = places.shape[1]
            if bits == 0:
                continue
            votes.setdefault(bits, []).extend(np.where(places >= 0, heard.values[places], np.float32(0)))
            times.setdefault(bits, np.maximum.accumulate(heard.times_s[places[0].clip(0)]))
            if not np.array_equal(places, even_places(bits, self.copies)):
                events.append(Event(f"repeat: play {number} lost or gained bits and its copies were aligned"))
        together = [SoftBits(_vote(rows), times[bits]) for bits, rows in votes.items()]
        together.sort(key=lambda heard: -float(np.abs(heard.values).sum()))
        if not together:
            return Heard((SoftBits([]),), None, (Event(f"repeat: too little was heard for {self.copies} copies"),))
        return Heard(tuple(together), None, tuple(events))


def _vote(rows: list[NDArray[np.float32]]) -> NDArray[np.float32]:
    """The sum of what is known of each bit; where that is nothing, of what is not."""
    total = added([np.where(np.abs(row) > LOST, row, np.float32(0)) for row in rows])
    return np.where(np.abs(total) > LOST, total, added(rows).clip(-LOST, LOST))
