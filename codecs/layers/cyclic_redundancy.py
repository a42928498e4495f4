"""Cyclic redundancy checks by their catalogue names.

Parameters follow the public catalogue of parametrised CRC algorithms (width, polynomial, initial value, reflection,
final XOR). The last column is the catalogue's check: the CRC of the ASCII text ``123456789``.
"""

from __future__ import annotations

import binascii
import zlib
from dataclasses import dataclass
from functools import lru_cache

_REVERSED_BYTES = bytes(int(f"{byte:08b}"[::-1], 2) for byte in range(256))


@dataclass(frozen=True, slots=True)
class CyclicRedundancy:
    """One algorithm of the catalogue.

    Attributes:
        name: as written in a spec.
        width: bits of the check value: 8, 16 or 32.
        polynomial: without its highest term, highest power first.
        initial: register before the first byte.
        reflected: the lowest bit of each byte comes first, and the value is read backwards.
        final_xor: added to the value at the end.
        check: value for the ASCII text ``123456789``.
    """

    name: str
    width: int
    polynomial: int
    initial: int
    reflected: bool
    final_xor: int
    check: int

    def of(self, data: bytes) -> int:
        """The check value of ``data``.

        >>> hex(ALGORITHMS["crc-16-ibm-3740"].of(b"123456789"))
        '0x29b1'
        """
        if (self.width, self.polynomial) == (16, 0x1021) and not self.reflected:
            return binascii.crc_hqx(data, self.initial) ^ self.final_xor
        if (self.polynomial, self.initial) == (0x04C11DB7, 0xFFFFFFFF):
            return self._by_zlib(data)
        return self._by_table(data)

    def appended(self, data: bytes) -> bytes:
        """The check value as sent after ``data``: lowest byte first if reflected, so that the residue is constant.

        >>> ALGORITHMS["crc-16-arc"].appended(b"123456789").hex()
        '3dbb'
        """
        return self.of(data).to_bytes(self.width // 8, "little" if self.reflected else "big")

    def _by_zlib(self, data: bytes) -> int:
        if self.reflected:
            return zlib.crc32(data) ^ 0xFFFFFFFF ^ self.final_xor
        mirrored = zlib.crc32(data.translate(_REVERSED_BYTES)) ^ 0xFFFFFFFF
        return _mirrored(mirrored, 32) ^ self.final_xor

    def _by_table(self, data: bytes) -> int:
        table = _table(self.width, self.polynomial, self.reflected)
        if self.reflected:
            register = _mirrored(self.initial, self.width)
            for byte in data:
                register = (register >> 8) ^ table[(register ^ byte) & 0xFF]
            return register ^ self.final_xor
        register, shift, mask = self.initial, self.width - 8, (1 << self.width) - 1
        for byte in data:
            register = ((register << 8) & mask) ^ table[(register >> shift) ^ byte]
        return register ^ self.final_xor


def _mirrored(value: int, width: int) -> int:
    return int(f"{value:0{width}b}"[::-1], 2)


@lru_cache
def _table(width: int, polynomial: int, reflected: bool) -> tuple[int, ...]:
    """The register after each single byte, from zero."""
    top, mask = 1 << (width - 1), (1 << width) - 1
    table = []
    for byte in range(256):
        register = (_REVERSED_BYTES[byte] if reflected else byte) << (width - 8)
        for _ in range(8):
            register = ((register << 1) ^ (polynomial if register & top else 0)) & mask
        table.append(_mirrored(register, width) if reflected else register)
    return tuple(table)


_F32 = 0xFFFFFFFF

ALGORITHMS = {
    algorithm.name: algorithm
    for algorithm in (
        CyclicRedundancy("crc-8-smbus", 8, 0x07, 0x00, False, 0x00, 0xF4),
        CyclicRedundancy("crc-8-i-432-1", 8, 0x07, 0x00, False, 0x55, 0xA1),
        CyclicRedundancy("crc-8-rohc", 8, 0x07, 0xFF, True, 0x00, 0xD0),
        CyclicRedundancy("crc-8-maxim-dow", 8, 0x31, 0x00, True, 0x00, 0xA1),
        CyclicRedundancy("crc-8-autosar", 8, 0x2F, 0xFF, False, 0xFF, 0xDF),
        CyclicRedundancy("crc-8-sae-j1850", 8, 0x1D, 0xFF, False, 0xFF, 0x4B),
        CyclicRedundancy("crc-16-arc", 16, 0x8005, 0x0000, True, 0x0000, 0xBB3D),
        CyclicRedundancy("crc-16-umts", 16, 0x8005, 0x0000, False, 0x0000, 0xFEE8),
        CyclicRedundancy("crc-16-modbus", 16, 0x8005, 0xFFFF, True, 0x0000, 0x4B37),
        CyclicRedundancy("crc-16-usb", 16, 0x8005, 0xFFFF, True, 0xFFFF, 0xB4C8),
        CyclicRedundancy("crc-16-cms", 16, 0x8005, 0xFFFF, False, 0x0000, 0xAEE7),
        CyclicRedundancy("crc-16-ibm-3740", 16, 0x1021, 0xFFFF, False, 0x0000, 0x29B1),
        CyclicRedundancy("crc-16-xmodem", 16, 0x1021, 0x0000, False, 0x0000, 0x31C3),
        CyclicRedundancy("crc-16-kermit", 16, 0x1021, 0x0000, True, 0x0000, 0x2189),
        CyclicRedundancy("crc-16-ibm-sdlc", 16, 0x1021, 0xFFFF, True, 0xFFFF, 0x906E),
        CyclicRedundancy("crc-16-spi-fujitsu", 16, 0x1021, 0x1D0F, False, 0x0000, 0xE5CC),
        CyclicRedundancy("crc-16-genibus", 16, 0x1021, 0xFFFF, False, 0xFFFF, 0xD64E),
        CyclicRedundancy("crc-16-mcrf4xx", 16, 0x1021, 0xFFFF, True, 0x0000, 0x6F91),
        CyclicRedundancy("crc-16-gsm", 16, 0x1021, 0x0000, False, 0xFFFF, 0xCE3C),
        CyclicRedundancy("crc-16-dnp", 16, 0x3D65, 0x0000, True, 0xFFFF, 0xEA82),
        CyclicRedundancy("crc-32-iso-hdlc", 32, 0x04C11DB7, _F32, True, _F32, 0xCBF43926),
        CyclicRedundancy("crc-32-bzip2", 32, 0x04C11DB7, _F32, False, _F32, 0xFC891918),
        CyclicRedundancy("crc-32-mpeg-2", 32, 0x04C11DB7, _F32, False, 0, 0x0376E6E7),
        CyclicRedundancy("crc-32-cksum", 32, 0x04C11DB7, 0, False, _F32, 0x765E7680),
        CyclicRedundancy("crc-32-iscsi", 32, 0x1EDC6F41, _F32, True, _F32, 0xE3069283),
    )
}
"""Every algorithm by its name in a spec."""
