"""`interleave`: neighbours on the tape come from far apart, so a burst is shared out among many words.

The bytes are written into ``depth`` rows, one after the other, whose lengths differ by at most one (longer rows
first), and sent column by column. A burst of ``b`` bytes on the tape hits each row at most ``ceil(b / depth)`` times.
Bits that do not fill the last byte are filled up with zeros.

As even bits go to one track and odd bits to the other, a byte is shared out between the tracks, and what one track
loses is half of every byte. With ``by_track`` the bits of two neighbours are sent in turn, so that each byte stays on
a track of its own, and what one track loses is every second byte.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from ...contracts.bearable import NOTHING, Bearable
from ...contracts.bits import Bits
from ...contracts.layer import Heard, Layer
from ...contracts.parameters import parameter
from ...contracts.soft_bits import SoftBits

_KEPT_BYTES = 4096
"""Up to so many bytes where they go is remembered: 0.5 MB for each length."""


@dataclass(frozen=True)
class Interleave(Layer):
    """A block interleaver of bytes over everything above it."""

    name = "interleave"
    summary = "Sends the bytes of `depth` rows in turn, so that a burst is shared out among them."
    needs = "microcontroller"
    hands_on = "whole_bytes"

    depth: int = parameter(4, "From how many rows neighbours on the tape come.", low=1, high=4096)
    by_track: bool = parameter(False, "Each byte stays on one track, if even and odd bits go to different ones.")

    def coded_bits(self, data_bits: int) -> int:
        return 8 * -(-data_bits // 8)

    def bearable(self, data_bits: int, above: Bearable) -> Bearable:
        """``depth`` times as many bytes as each row may miss in one place.

        As many bytes in a row as must not miss more than a given number hold some whole rows and the rest of one; a
        burst takes the same few columns of each.
        """
        lost, among = above.bits // 8, -(-above.among // 8)
        rows, rest = divmod(among, max(data_bits // 8 // self.depth, 1))
        each = lost // (rows + 1)
        if rows and rest * (rows + 1) < lost:
            each = (lost - rest) // rows
        spared = 2 if self.by_track else 1
        return Bearable(max(8 * (self.depth * each - spared) + 1, 0), max(data_bits, 1)) if each else NOTHING

    def encode(self, bits: Bits) -> Bits:
        padded = np.pad(bits, (0, -bits.size % 8))
        return padded[self._places(padded.size // 8).sent]

    def decode(self, passes: tuple[SoftBits, ...]) -> Heard:
        return Heard(tuple(self._restored(heard) for heard in passes))

    def _restored(self, heard: SoftBits) -> SoftBits:
        origin = self._places(len(heard) // 8).origin
        return SoftBits(heard.values[origin], heard.times_s[origin])

    def _places(self, count: int) -> _Places:
        made = _kept_places if count <= _KEPT_BYTES else _made_places
        return made(count, self.depth, self.by_track)


@dataclass(frozen=True, slots=True)
class _Places:
    """What goes where.

    Attributes:
        sent: which bit of the data is sent in each place.
        origin: in which place each bit of the data is sent.
    """

    sent: NDArray[np.intp]
    origin: NDArray[np.intp]


def _made_places(count: int, depth: int, by_track: bool) -> _Places:
    """For ``count`` bytes."""
    short, longer = divmod(count, depth)
    lengths = np.full(depth, short)
    lengths[:longer] += 1
    starts = np.cumsum(lengths) - lengths
    column = np.arange(count) - np.repeat(starts, lengths)
    bits: NDArray[np.intp] = 8 * np.argsort(column, kind="stable")[:, None] + np.arange(8)
    if by_track:
        paired = count // 2 * 2
        bits[:paired] = bits[:paired].reshape(-1, 2, 8).swapaxes(1, 2).reshape(-1, 8)
    sent = bits.ravel()
    origin = np.empty_like(sent)
    origin[sent] = np.arange(sent.size)
    return _Places(sent, origin)


_kept_places = lru_cache(maxsize=8)(_made_places)
