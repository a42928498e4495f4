"""Two things that libsndfile keeps to itself in a WAV file: the length its header announces, and the time of writing.

Sources: Microsoft and IBM, Multimedia Programming Interface and Data Specifications 1.0 (1991), RIFF and WAVE; the PEAK
chunk as libsndfile 1.2 writes it (version, then seconds since 1970, then the peaks; read off its output).
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from typing import BinaryIO

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
