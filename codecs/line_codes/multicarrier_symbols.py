"""What is on a multicarrier tape: the grid of symbols and carriers, and the points that bits are sent as.

All is counted on a grid of 44,100 places a second of tape, whatever the sample rate. A symbol is a cyclic prefix of 64
places and a body of 1,024, so that carrier k lies at k times 43.07 Hz; the first 32 places fade from one symbol to
the next. On each track one carrier is a steady tone for the time base, with nothing beside it; as its number is a
multiple of 16, its phase runs on from symbol to symbol.

Order on the tape::

    leader: known symbols in pairs, then two headers | data | one more header | tail: silence

In a pair both tracks send the same points twice, the right track the second time inverted: sum and difference of what
is heard tell the four responses from each track to each track. Every third pair sends the same points, with a sign of
its own, to be looked for; the rest have points of their own, so that what saturation adds is averaged out.
"""

from __future__ import annotations

from binascii import crc_hqx
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from ...contracts.bits import Bits
from .multicarrier_loading import Loading, Points, constellation

GRID_HZ = 44_100
BODY = 1024
PREFIX = 64
FADE = 32
SYMBOL = PREFIX + BODY
SPACING_HZ = GRID_HZ / BODY
EMPTY = 8
"""Carriers left out on each side of the time-base tone."""
TONE_STEP = 16
ALIKE_EVERY = 3
"""Every so many pairs one sends the points that are looked for."""
HEADERS = 2
"""Headers before the data; one more follows them."""

_COUNT_BITS = 32
_CHECK_BITS = 16
_START_OF_TRAINING, _START_OF_HEADER, _START_OF_SIGNS = 5_000, 11_000, 5_314


@cache
def noise_bits() -> Bits:
    """One period of a maximal sequence, shape (32,767,): x^15 + x^14 + 1, PRBS-15 of ITU-T O.150."""
    bits = np.ones(32_767 + 16, np.uint8)
    for place in range(15, bits.size):
        bits[place] = bits[place - 14] ^ bits[place - 15]
    sequence = bits[:32_767]
    sequence.flags.writeable = False
    return sequence


def scrambled(bits: Bits, start: int = 0) -> Bits:
    """``bits`` without long runs or repetitions: added to the sequence from ``start`` on. Its own inverse."""
    return bits ^ np.resize(np.roll(noise_bits(), -start), bits.size)


@dataclass(frozen=True, slots=True, eq=False)
class Layout:
    """Which carriers are used and how.

    Attributes:
        carriers: numbers of those that carry bits, ascending, shape (carriers,).
        tone: number of the time-base tone's.
        loading: what they bear in the data.
    """

    carriers: NDArray[np.intp]
    tone: int
    loading: Loading

    @property
    def symbol_bits(self) -> int:
        """Bits in a symbol, both tracks."""
        return 2 * self.loading.track_bits

    def symbols(self, bits: int) -> int:
        """How many symbols carry that many bits."""
        return -(-bits // self.symbol_bits)

    def data(self, bits: Bits, first_symbol: int) -> Points:
        """Points of whole symbols from ``first_symbol`` on, (symbols, 2, carriers): even bits left, odd right."""
        start = first_symbol * self.symbol_bits
        mixed = scrambled(bits, start % noise_bits().size)
        a_track = mixed.reshape(-1, self.symbol_bits // 2, 2).swapaxes(1, 2)
        return self.loading.points(a_track)

    @property
    def header_loading(self) -> Loading:
        """What the carriers bear in a header: two bits, whatever they bear in the data."""
        return Loading(((self.carriers.size, 2),))

    def training(self, before_data: NDArray[np.intp]) -> Points:
        """Points of the known symbols, counted backwards from 1 before the headers, (symbols, 2, carriers)."""
        pair, second = np.divmod(before_data - 1, 2)
        start = _START_OF_TRAINING + np.where(self.alike(before_data), 0, (pair + 1) * 2 * self.carriers.size)
        places = (start[:, None] + np.arange(2 * self.carriers.size)) % noise_bits().size
        points = constellation(2).points(noise_bits()[places]) * pair_signs(pair)[:, None]
        return np.stack([points, points * np.where(second, 1, -1)[:, None]], axis=1).astype(np.complex64)

    def alike(self, before_data: NDArray[np.intp]) -> NDArray[np.bool_]:
        """Which of these known symbols send the points that are looked for."""
        return np.asarray((before_data - 1) // 2 % ALIKE_EVERY == 0)

    def header(self, count: int) -> Points:
        """Points of the header that announces ``count`` bits, shape (2, carriers)."""
        told = count.to_bytes(4, "big")
        told += crc_hqx(told, 0xFFFF).to_bytes(2, "big")
        bits = np.resize(np.unpackbits(np.frombuffer(told, np.uint8)), 4 * self.carriers.size)
        mixed = scrambled(bits, _START_OF_HEADER)
        return constellation(2).points(mixed.reshape(-1, 2).T)

    def read_header(self, soft: NDArray[np.float32]) -> int | None:
        """The count that a header tells, from its soft bits in the order of data; None if its check fails.

        Every bit is sent some twenty times or more, so the check is asked about bits that are known or are chance.
        """
        signs = 1 - 2 * scrambled(np.zeros(soft.size, np.uint8), _START_OF_HEADER).astype(np.float32)
        width = _COUNT_BITS + _CHECK_BITS
        plain = np.resize(soft * signs, -(-soft.size // width) * width)
        plain[soft.size :] = 0
        sums = plain.reshape(-1, width).sum(axis=0)
        told = np.packbits(sums > 0).tobytes()
        if crc_hqx(told[:4], 0xFFFF) != int.from_bytes(told[4:], "big"):
            return None
        agreement = float(np.abs(sums).sum() / max(np.abs(plain).sum(), 1e-30))
        return int.from_bytes(told[:4], "big") if agreement > _HEADER_AGREEMENT else None


_HEADER_AGREEMENT = 0.45
"""Soft bits of chance agree to 1 / sqrt(repetitions), 0.24 or less with 19."""


def pair_signs(pair: NDArray[np.intp]) -> NDArray[np.float32]:
    """The sign of each pair, counted backwards from the first header.

    Of all starts in the sequence, one whose signs of 3 to 13 alike pairs resemble themselves shifted little.
    """
    return 1 - 2 * noise_bits()[(_START_OF_SIGNS + pair) % noise_bits().size].astype(np.float32)
