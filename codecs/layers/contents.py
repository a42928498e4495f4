"""`contents`: what the recording holds, and one check over all of it.

::

    version u8 = 1 | payload length in bytes u32 | CRC-32/ISO-HDLC u32 | payload

Numbers are sent highest byte first. The check covers version, length and payload. It stands above every corrector, so
a load is called intact only if version, length and check all agree: a damaged reading does so with a chance of at
most 2^-32, and at most one reading more than there are passes is tried. Bits after the payload are ignored.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass

import numpy as np

from ...contracts import bits as bytes_and_bits
from ...contracts.bits import Bits
from ...contracts.decoded import Event
from ...contracts.layer import Heard, Layer
from ...contracts.soft_bits import SoftBits
from .cyclic_redundancy import ALGORITHMS
from .passes import best_reading, readings

VERSION = 1
_HEADER = struct.Struct(">BII")
_CHECK = ALGORITHMS["crc-32-iso-hdlc"]


@dataclass(frozen=True)
class Contents(Layer):
    """Format version, payload length and CRC-32 of everything: the outermost layer of a checked stack."""

    name = "contents"
    summary = "Outermost: format version, payload length and CRC-32 of everything."
    needs = "microcontroller"
    hands_on = "whole_bytes"

    def coded_bits(self, data_bits: int) -> int:
        return 8 * (_HEADER.size + -(-data_bits // 8))

    def encode(self, bits: Bits) -> Bits:
        """The header and the payload; a broken last byte is filled up with zeros."""
        payload = np.packbits(bits).tobytes()
        return bytes_and_bits.from_bytes(_header(payload) + payload)

    def decode(self, passes: tuple[SoftBits, ...]) -> Heard:
        """One pass: the payload, certain if the check holds, else the best guess at it."""
        for reading in readings(passes):
            data = bytes_and_bits.to_bytes(reading.bits)
            if _fault(data) is None:
                payload = slice(8 * _HEADER.size, 8 * (_HEADER.size + _claimed_bytes(data)))
                return Heard((SoftBits.certain(reading.bits[payload], reading.times_s[payload]),), True)
        best = best_reading(passes)
        data = bytes_and_bits.to_bytes(best.bits)
        fault = _fault(data) or "nothing was heard"
        end = len(best)
        if len(data) >= _HEADER.size and data[0] == VERSION:
            end = min(end, 8 * (_HEADER.size + _claimed_bytes(data)))
        payload = slice(8 * _HEADER.size, end)
        guess = SoftBits(best.values[payload], best.times_s[payload])
        return Heard((guess,), False, (Event(f"contents: {fault}"),))


def _header(payload: bytes) -> bytes:
    covered = struct.pack(">BI", VERSION, len(payload))
    return covered + _CHECK.of(covered + payload).to_bytes(4, "big")


def _claimed_bytes(data: bytes) -> int:
    return int(_HEADER.unpack_from(data)[1])


def _fault(data: bytes) -> str | None:
    """Why ``data`` is no sound contents; None if it is."""
    if len(data) < _HEADER.size:
        return f"only {len(data)} of the header's {_HEADER.size} bytes were heard"
    version, length, check = _HEADER.unpack_from(data)
    if version != VERSION:
        return f"format version {version} is not known"
    if length > len(data) - _HEADER.size:
        return f"{length} bytes are announced and {len(data) - _HEADER.size} were heard"
    payload = data[_HEADER.size : _HEADER.size + length]
    if _CHECK.of(data[:5] + payload) != check:
        return f"the check over {length} bytes does not match"
    return None
