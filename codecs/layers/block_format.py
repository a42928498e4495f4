"""How a block of `frame` looks on the tape.

::

    preamble 1010... | sync word | number u16 | all data bits u32 | CRC-16 of the header | body | CRC

Numbers are sent highest byte first. All bodies but the last hold the same number of bits. As every header says how
many data bits there are in all, any one of them tells how many blocks there are and how long the last is.
The checks are CRC-16/IBM-3740 and CRC-32/BZIP2: unreflected, so that their order is that of the bits on the tape
and every burst as long as the check is found.
"""

from __future__ import annotations

import struct
from collections.abc import Sequence
from dataclasses import dataclass
from functools import reduce
from itertools import combinations
from operator import xor

import numpy as np

from ...contracts.bits import Bits
from .cyclic_redundancy import ALGORITHMS, CyclicRedundancy

HEADER_BITS = 64
MOST_BLOCKS = 1 << 16
_HEADER = struct.Struct(">HI")
_HEADER_CHECK = ALGORITHMS["crc-16-ibm-3740"]


def _syndrome(bit: int) -> int:
    turned = (1 << (HEADER_BITS - 1 - bit)).to_bytes(8, "big")
    return ALGORITHMS["crc-16-xmodem"].of(turned[:6]) ^ int.from_bytes(turned[6:], "big")


_SYNDROMES = tuple(_syndrome(bit) for bit in range(HEADER_BITS))  # what each wrong bit of a header adds to its check

BODY_CHECKS: dict[str, CyclicRedundancy | None] = {
    "crc-16": ALGORITHMS["crc-16-ibm-3740"],
    "crc-32": ALGORITHMS["crc-32-bzip2"],
    "none": None,
}


@dataclass(frozen=True, slots=True, eq=False)
class BlockFormat:
    """Lengths in bits and what stands where.

    Attributes:
        preamble: bits before the sync word.
        sync: the sync word's bits.
        body_bits: data bits of every block but the last.
        body_check: the check after the body, if there is one.
    """

    preamble: Bits
    sync: Bits
    body_bits: int
    body_check: CyclicRedundancy | None

    @property
    def check_bits(self) -> int:
        """Length of the check after a body."""
        return 0 if self.body_check is None else self.body_check.width

    @property
    def lead_bits(self) -> int:
        """From the start of the sync word to the start of the body."""
        return self.sync.size + HEADER_BITS

    @property
    def pitch(self) -> int:
        """From one sync word to the next."""
        return self.preamble.size + self.lead_bits + self.body_bits + self.check_bits

    def blocks(self, total: int) -> int:
        """How many blocks carry ``total`` data bits; no data makes one too, so that silence is not taken for it."""
        return max(1, -(-total // self.body_bits))

    def data(self, number: int, total: int) -> slice:
        """Which of the data bits block ``number`` carries."""
        return slice(number * self.body_bits, min(total, (number + 1) * self.body_bits))

    def data_bits(self, number: int, total: int) -> int:
        """How many data bits block ``number`` carries."""
        return min(total - number * self.body_bits, self.body_bits)

    def coded_bits(self, total: int) -> int:
        """Length of all blocks together."""
        return total + self.blocks(total) * (self.pitch - self.body_bits)

    def header(self, number: int, total: int) -> Bits:
        """The header of a block, shape (64,)."""
        told = _HEADER.pack(number, total)
        return np.unpackbits(np.frombuffer(told + _HEADER_CHECK.appended(told), np.uint8))

    def block(self, number: int, total: int, body: Bits) -> Bits:
        """A whole block."""
        parts = (self.preamble, self.sync, self.header(number, total), body, self.check_of(number, total, body))
        return np.concatenate(parts)

    def check_of(self, number: int, total: int, body: Bits) -> Bits:
        """The check after a body, over number, total and body, so that no body passes for another block's.

        A broken last byte is filled up with zeros for the purpose.
        """
        if self.body_check is None:
            return np.zeros(0, np.uint8)
        covered = _HEADER.pack(number, total) + np.packbits(body).tobytes()
        return np.unpackbits(np.frombuffer(self.body_check.appended(covered), np.uint8))

    def checks(self, number: int, total: int, body_and_check: Bits) -> bool:
        """Whether a whole body and the check after it agree; never true where there is no check."""
        body = self.data_bits(number, total)
        if self.body_check is None or body_and_check.size != body + self.check_bits:
            return False
        return np.array_equal(self.check_of(number, total, body_and_check[:body]), body_and_check[body:])

    def mended_header(self, header: bytes, weakest: Sequence[int]) -> tuple[int, int] | None:
        """What a header tells that fails its check, with one bit turned, or several of the ``weakest``.

        CRC-16 keeps all headers four bits apart, so one wrong bit has one cure; the others are guesses. Of random
        headers, (64 + 2^len(weakest)) / 2^16 come out as good.
        """
        wrong = _HEADER_CHECK.of(header[:6]) ^ int.from_bytes(header[6:8], "big")
        if wrong in _SYNDROMES:
            return self._with_bits_turned(header, (_SYNDROMES.index(wrong),))
        for several in range(2, len(weakest) + 1):
            for turned in combinations(weakest, several):
                if reduce(xor, (_SYNDROMES[bit] for bit in turned)) == wrong:
                    return self._with_bits_turned(header, turned)
        return None

    def _with_bits_turned(self, header: bytes, turned: tuple[int, ...]) -> tuple[int, int] | None:
        mended = int.from_bytes(header, "big") ^ sum(1 << (HEADER_BITS - 1 - bit) for bit in turned)
        return self.read_header(mended.to_bytes(8, "big"))

    def read_header(self, header: bytes) -> tuple[int, int] | None:
        """Number and total that eight bytes tell; None if their check fails or they name a block that cannot be."""
        number, total = _HEADER.unpack_from(header)
        if _HEADER_CHECK.appended(header[:6]) != header[6:8] or self.blocks(total) > MOST_BLOCKS:
            return None
        return (number, total) if number < self.blocks(total) else None
