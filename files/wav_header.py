"""What a WAV file announces, to notice that it is cut short: libsndfile shortens the length without a word.

Source: Microsoft and IBM, Multimedia Programming Interface and Data Specifications 1.0 (1991), RIFF and WAVE.
"""

from __future__ import annotations

import struct
from typing import BinaryIO

_UNKNOWN = (0, 0xFFFFFFFF)  # a recorder that writes to a pipe cannot know the length (common practice)


def announced_frames(file: BinaryIO) -> int | None:
    """Frames that the header of a WAV file announces; None if this is no WAV file or it does not say.

    Args:
        file: open for reading, at any place; its place is changed.
    """
    file.seek(0)
    head = file.read(12)
    if head[:4] != b"RIFF" or head[8:] != b"WAVE":
        return None
    frame_bytes = 0
    while len(chunk := file.read(8)) == 8:
        kind, size = struct.unpack("<4sI", chunk)
        if kind == b"data":
            return size // frame_bytes if frame_bytes and size not in _UNKNOWN else None
        body = file.tell()
        if kind == b"fmt ":
            told = file.read(14)
            frame_bytes = struct.unpack("<12xH", told)[0] if len(told) == 14 else 0
        file.seek(body + size + size % 2)
    return None
