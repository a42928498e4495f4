"""Intel HEX and Motorola S-record lines, put together to one image.

``bincopy`` takes each line apart and checks its sum. Placing is done here, because the number of the line must be
known, an overlap must be found whatever the order of the records, and what follows the last record must be refused.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

from ..contracts.errors import UsageError, in_one_line

_HEX_LINE = re.compile(r":(?:[0-9A-Fa-f]{2}){5,}")
_S_LINE = re.compile(r"S[0-9](?:[0-9A-Fa-f]{2}){4,}")

_DATA, _END, _SEGMENT, _START_SEGMENT, _LINEAR, _START_LINEAR = range(6)


@dataclass(frozen=True, slots=True)
class Piece:
    """The bytes of one record, where they go and which line gave them."""

    address: int
    data: bytes
    line: int


@dataclass(frozen=True, slots=True)
class Image:
    """Pieces without overlaps, in the order of their addresses.

    Attributes:
        pieces: at least one.
        notes: what else the file says, one line each.
    """

    pieces: tuple[Piece, ...]
    notes: tuple[str, ...] = ()

    @property
    def origin(self) -> int:
        """The lowest address."""
        return self.pieces[0].address

    @property
    def gaps(self) -> tuple[tuple[int, int], ...]:
        """(start, end) of what no piece gives between the first and the last."""
        edges = ((lower.address + len(lower.data), upper.address) for lower, upper in pairwise(self.pieces))
        return tuple((end, start) for end, start in edges if start > end)

    def filled(self, fill: int) -> bytes:
        """All bytes from the lowest address to the highest."""
        last = self.pieces[-1]
        data = bytearray([fill]) * (last.address + len(last.data) - self.origin)
        for piece in self.pieces:
            start = piece.address - self.origin
            data[start : start + len(piece.data)] = piece.data
        return bytes(data)


def intel_hex(lines: list[str], owner: str, most_bytes: int) -> Image:
    """The image that Intel HEX lines describe.

    Args:
        lines: the file.
        owner: how messages begin, such as ``program 'x.hex'``.
        most_bytes: the longest image, gaps included.

    Raises:
        UsageError: names the line and the rule.
    """
    import bincopy

    base, ended = 0, False
    pieces: list[Piece] = []
    notes: list[str] = []
    for number, text in _records(lines, _HEX_LINE, "Intel HEX", owner):
        if ended:
            raise UsageError(f"{owner}, line {number}: nothing may follow the end record.")
        try:
            kind, offset, _, data = bincopy.unpack_ihex(text)
        except bincopy.Error as error:
            raise UsageError(f"{owner}, line {number}: {_rule(error)}.") from None
        wanted = {_END: 0, _SEGMENT: 2, _LINEAR: 2, _START_SEGMENT: 4, _START_LINEAR: 4}.get(kind, len(data))
        if kind > _START_LINEAR or len(data) != wanted:
            raise UsageError(f"{owner}, line {number}: there is no record of type {kind:02X} with {len(data)} bytes.")
        if kind == _DATA:
            if offset + len(data) > 0x10000:
                raise UsageError(f"{owner}, line {number}: the record runs past the end of its 64 KiB.")
            pieces.append(Piece(base + offset, bytes(data), number))
        elif kind == _END:
            ended = True
        elif kind in (_SEGMENT, _LINEAR):
            base = int.from_bytes(data, "big") << (4 if kind == _SEGMENT else 16)
        else:
            notes.append(f"the start address {data.hex().upper()} does not go on the tape")
    if not ended:
        raise UsageError(f"{owner}: the end record is missing; the file is cut short.")
    return _image(pieces, notes, owner, most_bytes)


def s_record(lines: list[str], owner: str, most_bytes: int) -> Image:
    """The image that Motorola S-record lines describe; arguments and errors as ``intel_hex``."""
    import bincopy

    ended = counted = False
    pieces: list[Piece] = []
    notes: list[str] = []
    for number, text in _records(lines, _S_LINE, "S-record", owner):
        if ended:
            raise UsageError(f"{owner}, line {number}: nothing may follow the end record.")
        try:
            kind, address, _, data = bincopy.unpack_srec(text)
        except bincopy.Error as error:
            raise UsageError(f"{owner}, line {number}: {_rule(error)}.") from None
        if kind in "123":
            pieces.append(Piece(address, bytes(data), number))
        elif kind in "56":
            counted = True
            if address != len(pieces):
                raise UsageError(
                    f"{owner}, line {number}: {address} data records are announced, and there are {len(pieces)}."
                )
        elif kind in "789":
            ended = True
            if address:
                notes.append(f"the start address {address:04X} does not go on the tape")
        elif data.strip(b"\0 "):
            notes.append(f"header: {in_one_line(data.decode('latin-1').strip(), 60)}")
    if not (ended or counted):
        raise UsageError(f"{owner}: neither a count nor an end record stands at the end; the file is cut short.")
    return _image(pieces, notes, owner, most_bytes)


def _records(lines: list[str], shape: re.Pattern[str], kind: str, owner: str) -> Iterator[tuple[int, str]]:
    for number, line in enumerate(lines, 1):
        text = line.strip(" \t\x1a\0")  # some systems end a text file with a control Z or nulls (common practice)
        if not text:
            continue
        if not shape.fullmatch(text):
            raise UsageError(f"{owner}, line {number}: '{in_one_line(text, 40)}' is no {kind} record.")
        yield number, text


def _rule(error: Exception) -> str:
    """bincopy's text, without the record that it repeats."""
    told = str(error)
    checksum = re.match(r"expected crc '(..)' .* but got '(..)'", told)
    if checksum:
        return f"the checksum must be {checksum[1]}, not {checksum[2]}"
    if "wrong size" in told:
        return "the record is not as long as it says"
    return in_one_line(told)


def _image(pieces: list[Piece], notes: list[str], owner: str, most_bytes: int) -> Image:
    given = sorted((piece for piece in pieces if piece.data), key=lambda piece: piece.address)
    if not given:
        raise UsageError(f"{owner}: no record gives a byte.")
    for lower, upper in pairwise(given):
        if upper.address < lower.address + len(lower.data):
            first, second = sorted((lower.line, upper.line))
            raise UsageError(f"{owner}, line {second}: overlaps line {first}: both give address {upper.address:04X}.")
    extent = given[-1].address + len(given[-1].data) - given[0].address
    if extent > most_bytes:
        raise UsageError(f"{owner}: must be at most {most_bytes} bytes, gaps included, not {extent}.")
    return Image(tuple(given), tuple(notes))
