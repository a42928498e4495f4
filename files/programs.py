"""Programs: what goes on the tape. Raw binary, Intel HEX and Motorola S-record, in and out.

A program here is one run of bytes with the address of its first. Records may leave gaps; they are filled and said.
Nothing is guessed: a wrong checksum, an overlap or a file that is cut short is refused with the number of its line.

Sources: Intel, Hexadecimal Object File Format Specification, revision A (1988); Motorola S-record as described in the
M68000 family programmer's reference manual, appendix C.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

from ..contracts.errors import UsageError, in_one_line
from ..contracts.named_file import opened
from . import chime
from .records import Image, intel_hex, s_record
from .writing import whole_file

MOST_BYTES = 65_536
FILL = 0xFF
"""What a gap is filled with: how an erased memory chip reads (common practice)."""

_MOST_TEXT_BYTES = 4 << 20
_HEX_SUFFIXES = {".hex", ".ihex", ".ihx", ".h86"}
_S_RECORD_SUFFIXES = {".s19", ".s28", ".s37", ".srec", ".srecord", ".mot"}
_RAW_SUFFIXES = {".bin", ".raw", ".rom"}
_LOOKS_LIKE_HEX = re.compile(rb"\s*:(?:[0-9A-Fa-f]{2}){5,}\s*(?:\n|\r|$)")
_LOOKS_LIKE_S_RECORD = re.compile(rb"\s*S[0-9](?:[0-9A-Fa-f]{2}){4,}\s*(?:\n|\r|$)")


@dataclass(frozen=True, slots=True)
class Program:
    """One run of bytes.

    Attributes:
        name: for labels and messages; the file's name without its folder.
        data: the bytes, gaps filled.
        origin: address of the first byte.
        gaps: (start, end) addresses, end excluded, that no record gave and that hold ``fill``.
        fill: the byte in the gaps.
        notes: what a person should know, one line each.
        is_addressed: whether the file told the origin; a raw one does not.
    """

    name: str
    data: bytes
    origin: int = 0
    gaps: tuple[tuple[int, int], ...] = ()
    fill: int = FILL
    notes: tuple[str, ...] = ()
    is_addressed: bool = False


def read_program(name_or_path: str | Path, kind: str = "program") -> Program:
    """The demo program by its name, or a program file.

    The name's suffix says what the file is (``.bin``, ``.hex``, ``.s19`` and their like); with any other suffix, its
    first line does.

    Args:
        kind: what it is called in messages.

    >>> len(read_program("chime").data)
    128

    Raises:
        UsageError: missing, empty, more than 64 KiB, or records that break the rules of their format.
    """
    if str(name_or_path) == chime.NAME:
        shadowed = f"the demo program is taken, not the file; './{chime.NAME}' names the file"
        return _from_text(chime.NAME, chime.chime_records(), (shadowed,) if Path(chime.NAME).exists() else ())
    path = Path(name_or_path)
    with opened(path, kind, f"check the name; the demo program is called '{chime.NAME}'") as file:
        content = file.read(_MOST_TEXT_BYTES + 1)
    if not content:
        raise UsageError(f"{kind} '{in_one_line(path)}' is empty.")
    suffix = path.suffix.lower()
    looks_like_records = bool(_LOOKS_LIKE_HEX.match(content) or _LOOKS_LIKE_S_RECORD.match(content))
    if suffix in _HEX_SUFFIXES | _S_RECORD_SUFFIXES or (looks_like_records and suffix not in _RAW_SUFFIXES):
        if len(content) > _MOST_TEXT_BYTES:
            raise UsageError(f"{kind} '{in_one_line(path)}': must be at most {_MOST_TEXT_BYTES} bytes of records.")
        return _from_text(path.name, content, (), suffix, kind)
    if len(content) > MOST_BYTES:
        size = max(path.stat().st_size, len(content))
        raise UsageError(f"{kind} '{in_one_line(path)}': must be at most {MOST_BYTES} bytes, not {size}.")
    as_it_is = f"taken as it is because of '{suffix}', though it looks like records"
    return Program(path.name, content, notes=(as_it_is,) if looks_like_records else ())


def _from_text(
    name: str, content: bytes, notes: tuple[str, ...], suffix: str = ".hex", kind: str = "program"
) -> Program:
    is_s_record = bool(_LOOKS_LIKE_S_RECORD.match(content)) or (
        suffix in _S_RECORD_SUFFIXES and not _LOOKS_LIKE_HEX.match(content)
    )
    owner = f"{kind} '{in_one_line(name)}'"
    try:
        lines = content.decode("ascii").splitlines()
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        raise UsageError(f"{owner}, line {line}: records are plain text, and this is not.") from None
    image: Image = (s_record if is_s_record else intel_hex)(lines, owner, MOST_BYTES)
    gaps = image.gaps
    if gaps:
        listed = ", ".join(f"{start:04X} to {end - 1:04X}" for start, end in gaps[:4]) + (", ..." if gaps[4:] else "")
        filled = sum(end - start for start, end in gaps)
        notes = (*notes, f"{filled} bytes that no record gives are filled with {FILL:02X}: {listed}")
    return Program(name, image.filled(FILL), image.origin, gaps, FILL, (*notes, *image.notes), True)


def write_program(path: Path, data: bytes, *, origin: int = 0, force: bool = False) -> None:
    """Write a program: Intel HEX or S-record where the suffix says so, else the bytes as they are.

    Args:
        path: where to.
        data: the bytes.
        origin: address of the first byte; a raw file does not hold it.
        force: overwrite an existing file.

    Raises:
        UsageError, TapewrightError: as ``writing.check_output``; an origin that does not fit 32 bits.
    """
    if not 0 <= origin <= (1 << 32) - len(data):
        raise UsageError(f"Argument 'origin' must be 0 to {(1 << 32) - len(data)}, not {origin}.")
    suffix = path.suffix.lower()
    with whole_file(path, force) as part:
        if suffix in _HEX_SUFFIXES | _S_RECORD_SUFFIXES:
            part.write_text(_as_text(data, origin, suffix), encoding="ascii", newline="\n")
        else:
            part.write_bytes(data)


def _as_text(data: bytes, origin: int, suffix: str) -> str:
    import bincopy

    file = bincopy.BinFile()
    file.add_binary(data, address=origin)
    if suffix in _HEX_SUFFIXES:
        return str(file.as_ihex(number_of_data_bytes=16))
    # Without a start address the last record, which the format asks for, would be missing; 0 is what stands there
    # when nobody knows one (common practice).
    file.execution_start_address = 0
    last = origin + len(data)
    bits = 16 if last <= 1 << 16 else 24 if last <= 1 << 24 else 32
    return str(file.as_srec(number_of_data_bytes=16, address_length_bits=bits))


def parse_address(text: str) -> int:
    """An address as a person writes it: 4096, 0x1000.

    Raises:
        UsageError: anything else.
    """
    try:
        address = int(text, 0)
    except ValueError:
        raise UsageError(f"An address must be a number such as 0x1000, not '{in_one_line(text, 40)}'.") from None
    if not 0 <= address < 1 << 32:
        raise UsageError(f"An address must be 0 to 0xFFFFFFFF, not {in_one_line(text, 40)}.")
    return address
