"""`contents`: what the recording holds, and one check over all of it.

::

    version u8 = 1 | payload length in bytes u32 | CRC-32/ISO-HDLC u32 | payload [| the same 9 bytes again]

Numbers are sent highest byte first. The check covers version, length and payload. It stands above every corrector, so
a load is called intact only if version, length and check all agree: a damaged reading does so with a chance of at
most 2^-32, and at most one reading more than there are passes is tried. Bits after that are ignored.

With ``copies=2`` those nine bytes, the header, come back at the end. If those at the start do not lead to the same ones
there, the header is looked for from the end: it tells how far from the start it must stand. One header is chosen before
anything is checked, so that a second copy does not give a damaged load a second chance to pass.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass

import numpy as np

from ...contracts import bits as bytes_and_bits
from ...contracts.bits import Bits
from ...contracts.decoded import Event
from ...contracts.layer import Heard, Layer
from ...contracts.parameters import parameter
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

    copies: int = parameter(1, "Headers: at the start, or at the start and the end.", choices=(1, 2))

    @property
    def lies_at_most(self) -> float:
        """See the module's text."""
        return 2.0**-_CHECK.width

    def coded_bits(self, data_bits: int) -> int:
        return 8 * (self.copies * _HEADER.size + -(-data_bits // 8))

    def encode(self, bits: Bits) -> Bits:
        """The header, the payload and perhaps the header; a broken last byte is filled up with zeros."""
        payload = np.packbits(bits).tobytes()
        header = _header(payload)
        return bytes_and_bits.from_bytes(header + payload + (header if self.copies == 2 else b""))

    def decode(self, passes: tuple[SoftBits, ...]) -> Heard:
        """One pass: the payload, certain if the check holds, else the best guess at it."""
        for reading in readings(passes):
            data = self._with_its_header(bytes_and_bits.to_bytes(reading.bits))
            if _fault(data) is None:
                payload = slice(8 * _HEADER.size, 8 * (_HEADER.size + _claimed_bytes(data)))
                return Heard((SoftBits.certain(reading.bits[payload], reading.times_s[payload]),), True)
        best = best_reading(passes)
        data = self._with_its_header(bytes_and_bits.to_bytes(best.bits))
        fault = _fault(data) or "nothing was heard"
        end = len(best)
        if len(data) >= _HEADER.size and data[0] == VERSION:
            end = min(end, 8 * (_HEADER.size + _claimed_bytes(data)))
        payload = slice(8 * _HEADER.size, end)
        guess = SoftBits(best.values[payload], best.times_s[payload])
        return Heard((guess,), False, (Event(f"contents: {fault}"),))

    def _with_its_header(self, data: bytes) -> bytes:
        """``data`` with the copy from the end in place of a header at the start that it contradicts."""
        if self.copies == 1 or len(data) < _HEADER.size:
            return data
        end = _HEADER.size + _claimed_bytes(data)
        if data[0] == VERSION and data[end : end + _HEADER.size] == data[: _HEADER.size]:
            return data
        copy = _last_copy(data)
        return data if copy is None else copy + data[_HEADER.size :]


def _last_copy(data: bytes) -> bytes | None:
    """The last nine bytes that are a header and stand where they say: right behind as many bytes as they announce."""
    places = np.arange(_HEADER.size, len(data) - _HEADER.size + 1)
    if places.size == 0:
        return None
    byte = np.frombuffer(data, np.uint8).astype(np.int64)
    length = sum(byte[places + 1 + digit] << (8 * (3 - digit)) for digit in range(4))
    found = places[(byte[places] == VERSION) & (length == places - _HEADER.size)]
    return data[found[-1] : found[-1] + _HEADER.size] if found.size else None


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
