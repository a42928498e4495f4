"""Three things that libsndfile keeps to itself in a WAV file: the length its header announces, whether there is one at
all, and the time of writing.

Sources: Microsoft and IBM, Multimedia Programming Interface and Data Specifications 1.0 (1991), RIFF and WAVE; the PEAK
chunk as libsndfile 1.2 writes it (version, then seconds since 1970, then the peaks; read off its output).
"""

from __future__ import annotations

import io
import struct
from collections.abc import Iterator
from typing import Any, BinaryIO

_PLACEHOLDER = 0x7FFF0000
"""A recorder that writes to a pipe cannot know the length: it puts 0, or some number beyond this (common practice)."""


def announced_frames(file: BinaryIO) -> int | None:
    """Frames that the header of a WAV file announces; None if this is no WAV file or it does not say.

    libsndfile shortens the length of a file that is cut short without a word.

    Args:
        file: open for reading, at any place; its place is changed.
    """
    frame_bytes = 0
    for kind, size in _chunks(file):
        if kind == b"data":
            return size // frame_bytes if frame_bytes and 0 < size < _PLACEHOLDER else None
        if kind == b"fmt ":
            told = file.read(14)
            frame_bytes = struct.unpack("<12xH", told)[0] if len(told) == 14 else 0
    return None


def length_left_open(file: BinaryIO) -> int | None:
    """Where the length of the sound stands that a recorder never filled in; None if it did, or if this is no WAV file.

    A recorder writes the length last, so one that stopped short leaves 0 or a number that no file reaches. A length of
    0 is one that was never filled in if what follows is no row of further chunks.

    Args:
        file: open for reading, at any place; its place is changed.
    """
    end = file.seek(0, 2)
    for kind, size in _chunks(file):
        if kind != b"data":
            continue
        content = file.tell()
        if content == end or 0 < size < _PLACEHOLDER or (size and content + size <= end):
            return None
        return None if size == 0 and _are_chunks(file, content, end) else content - 4
    return None


class ToTheEnd(io.RawIOBase):
    """A WAV file whose length was left open, read as if it said that the sound goes on to the end.

    Args:
        file: open for reading; its place is that of this one.
        place: as ``length_left_open`` found it.
    """

    def __init__(self, file: BinaryIO, place: int) -> None:
        self._file = file
        self._place = place

    def readable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return True

    def seek(self, offset: int, whence: int = 0) -> int:
        return self._file.seek(offset, whence)

    def tell(self) -> int:
        return self._file.tell()

    def readinto(self, buffer: Any) -> int:
        start = self._file.tell()
        content = bytearray(self._file.read(len(buffer)))
        for at in range(max(start, self._place), min(start + len(content), self._place + 4)):
            content[at - start] = 0xFF
        buffer[: len(content)] = content
        return len(content)


def forget_the_time(file: BinaryIO) -> None:
    """Clear the time of writing in the PEAK chunk of a float WAV file, so that the same audio gives the same file.

    Args:
        file: open for reading and writing, at any place; its place is changed.
    """
    for kind, _ in _chunks(file):
        if kind == b"PEAK":
            file.seek(4, 1)
            file.write(bytes(4))
            return


def _chunks(file: BinaryIO) -> Iterator[tuple[bytes, int]]:
    """Name and size of each chunk, the file standing at the chunk's content."""
    file.seek(0)
    head = file.read(12)
    if head[:4] != b"RIFF" or head[8:] != b"WAVE":
        return
    while len(chunk := file.read(8)) == 8:
        kind, size = struct.unpack("<4sI", chunk)
        content = file.tell()
        yield kind, size
        file.seek(content + size + size % 2)


def _are_chunks(file: BinaryIO, start: int, end: int) -> bool:
    """Whether chunks with printable names fill the file from ``start`` to its end."""
    while start < end:
        file.seek(start)
        chunk = file.read(8)
        if len(chunk) < 8 or not all(32 <= letter < 127 for letter in chunk[:4]):
            return False
        start += 8 + struct.unpack("<4sI", chunk)[1]
        start += start % 2
    return start in (end, end + 1)
