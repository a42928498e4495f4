"""What a WAV header announces, against bytes put together by the published layout."""

from __future__ import annotations

import io
import struct

import pytest
from tapewright.files.wav_header import ToTheEnd, announced_frames, forget_the_time, length_left_open


def riff(*chunks: tuple[bytes, bytes], announced_data: int | None = None) -> io.BytesIO:
    """A RIFF file (Microsoft and IBM, Multimedia Programming Interface and Data Specifications 1.0, 1991): chunks of
    odd size are followed by one byte that does not count."""
    body = b"WAVE"
    for name, content in chunks:
        size = len(content) if name != b"data" or announced_data is None else announced_data
        body += name + struct.pack("<I", size) + content + bytes(len(content) % 2)
    return io.BytesIO(b"RIFF" + struct.pack("<I", len(body)) + body)


FORMAT = (b"fmt ", struct.pack("<HHIIHH", 1, 2, 44_100, 176_400, 4, 16))


def test_frames_are_announced_bytes_by_frame_size() -> None:
    assert announced_frames(riff(FORMAT, (b"data", bytes(40)), announced_data=4_000)) == 1_000


def test_chunks_of_odd_size_are_padded() -> None:
    assert announced_frames(riff((b"LIST", b"odd"), FORMAT, (b"note", b"x"), (b"data", bytes(40)))) == 10


@pytest.mark.parametrize("size", [0, 0x7FFFF000, 0xFFFFFFFF])
def test_a_size_that_was_never_filled_in_says_nothing(size: int) -> None:
    assert announced_frames(riff(FORMAT, (b"data", bytes(40)), announced_data=size)) is None


@pytest.mark.parametrize(("size", "is_open"), [(0, True), (0xFFFFFFFF, True), (40, False), (4_000, False)])
def test_a_length_left_open_is_found_and_reads_as_endless(size: int, is_open: bool) -> None:
    sound = bytes(range(200, 240))
    file = riff((b"LIST", b"odd"), FORMAT, (b"data", sound), announced_data=size)
    place = length_left_open(file)
    assert (place is not None) == is_open
    if place is not None:
        read = io.BufferedReader(ToTheEnd(file, place), 7)
        whole = file.getvalue()
        read.seek(0)
        assert read.read() == whole[:place] + b"\xff" * 4 + whole[place + 4 :]
        read.seek(place + 2)
        assert read.read(4) == b"\xff\xff" + sound[:2]


@pytest.mark.parametrize("content", [b"", b"RIFF", riff(FORMAT).getvalue(), riff(FORMAT, (b"data", b"")).getvalue()])
def test_where_there_is_no_sound_no_length_is_open(content: bytes) -> None:
    assert length_left_open(io.BytesIO(content)) is None


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"RIFF",
        b"RIFF\0\0\0\0AVI fmt ",
        riff(FORMAT).getvalue(),
        riff((b"data", bytes(40))).getvalue(),
        riff((b"fmt ", b"\1\0"), (b"data", bytes(40))).getvalue(),
        riff((b"fmt ", bytes(16)), (b"data", bytes(40))).getvalue(),
        riff(FORMAT, (b"data", bytes(4))).getvalue()[:41],
    ],
)
def test_other_files_say_nothing(content: bytes) -> None:
    assert announced_frames(io.BytesIO(content)) is None


def test_only_the_time_in_the_peak_chunk_is_cleared() -> None:
    peak = struct.pack("<II", 1, 1_700_000_000) + struct.pack("<fIfI", 0.5, 7, 0.25, 9)
    file = riff(FORMAT, (b"PEAK", peak), (b"data", bytes(40)))
    before = file.getvalue()
    forget_the_time(file)
    assert file.getvalue() == before.replace(struct.pack("<I", 1_700_000_000), bytes(4))
    unchanged = riff(FORMAT, (b"data", b"PEAK" * 10))
    before = unchanged.getvalue()
    forget_the_time(unchanged)
    assert unchanged.getvalue() == before
