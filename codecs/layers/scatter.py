"""`scatter`: the bits are sent in an order without a pattern, so that what is lost together belongs to far-off words.

The place of each bit follows from the length alone: the bits are sorted by a hash of their number, the output
function of SplitMix64 (G. L. Steele, D. Lea and C. H. Flood, OOPSLA 2014; the reference code of S. Vigna is in the
public domain). Neighbours on the tape, on one symbol or on one track then lie apart by chance alone, whatever the line
code does with them. The length stays.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...contracts.bits import Bits
from ...contracts.layer import Heard, Layer
from ...contracts.soft_bits import SoftBits

_GOLDEN = np.uint64(0x9E3779B97F4A7C15)
_MULTIPLIERS = (np.uint64(0xBF58476D1CE4E5B9), np.uint64(0x94D049BB133111EB))
_SHIFTS = (np.uint64(30), np.uint64(27), np.uint64(31))


@dataclass(frozen=True)
class Scatter(Layer):
    """A pattern-free permutation of bits over the whole load."""

    name = "scatter"
    summary = "Sends the bits in an order without a pattern, so that a loss is shared out over the whole load."
    needs = "computer"
    needs_exact = True

    def coded_bits(self, data_bits: int) -> int:
        return data_bits

    def encode(self, bits: Bits) -> Bits:
        return bits[_order(bits.size)]

    def decode(self, passes: tuple[SoftBits, ...]) -> Heard:
        return Heard(tuple(_restored(heard) for heard in passes))


def _restored(heard: SoftBits) -> SoftBits:
    order = _order(len(heard))
    values, times = np.empty_like(heard.values), np.empty_like(heard.times_s)
    values[order], times[order] = heard.values, heard.times_s
    return SoftBits(values, times)


def _order(bits: int) -> NDArray[np.intp]:
    """Which bit is sent in each place, shape (bits,)."""
    return np.argsort(hashes(bits), kind="stable")


def hashes(count: int) -> NDArray[np.uint64]:
    """The first ``count`` outputs of SplitMix64 from seed 0.

    >>> hex(int(hashes(1)[0]))
    '0xe220a8397b1dcdaf'
    """
    mixed = np.arange(1, count + 1, dtype=np.uint64) * _GOLDEN
    for multiplier, shift in zip(_MULTIPLIERS, _SHIFTS, strict=False):
        mixed = (mixed ^ (mixed >> shift)) * multiplier
    return mixed ^ (mixed >> _SHIFTS[2])
