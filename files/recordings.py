"""Recordings: WAV and FLAC, in and out, through libsndfile.

What can be used is used and said: one track is laid on both, a file that is cut short gives what it holds. What would
mislead is refused: samples that are no numbers, more than two tracks.
"""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from ..contracts.errors import TapewrightError, UsageError, in_one_line
from ..contracts.named_file import opened
from ..contracts.signal import HIGHEST_RATE_HZ, LOUDEST, LOWEST_RATE_HZ, Signal
from .label import Label, label_from_json
from .wav_header import ToTheEnd, announced_frames, forget_the_time, length_left_open
from .writing import whole_file

MOST_FRAMES = 60 * 60 * 192_000
"""An hour at 192 kHz: longer than any cassette side (common practice: up to 60 minutes a side)."""

_WAV_SUBTYPES = {"8": "PCM_U8", "16": "PCM_16", "24": "PCM_24", "32": "PCM_32", "float": "FLOAT"}
_FLAC_SUBTYPES = {"8": "PCM_S8", "16": "PCM_16", "24": "PCM_24"}
_FORMATS = {".wav": ("WAV", _WAV_SUBTYPES), ".flac": ("FLAC", _FLAC_SUBTYPES)}
_HIGHEST_FLAC_RATE_HZ = 655_350  # RFC 9639, section 9.1.2 and libsndfile's own limit
_MOST_WAV_BYTES = (1 << 32) - (1 << 16)  # RIFF counts in 32 bits; the rest is for the header and the label
_LOSSY = {"VORBIS", "OPUS", "MPEG_LAYER_I", "MPEG_LAYER_II", "MPEG_LAYER_III"}
_MOST_COMMENT_BYTES = 2_000  # libsndfile 1.2 does not read back a RIFF comment of 2,048 bytes or more (measured)
_UNKNOWN_LENGTH = (1 << 63) - 1  # libsndfile's word for it: a FLAC encoder that wrote to a pipe could not say
_LEFT_OPEN = "the file does not say its length, as if its recorder had stopped short: all of it is used"
_BLOCK = 1 << 18

Watch = Callable[[int, int], None]


def unwatched(done: int, of: int) -> None:
    """Nobody watches."""


@dataclass(frozen=True, slots=True)
class Recording:
    """A recording as read.

    Attributes:
        signal: both tracks.
        label: what the file's metadata says of it; None if it says nothing.
        notes: what a person should know, one line each.
    """

    signal: Signal
    label: Label | None = None
    notes: tuple[str, ...] = ()


class Described(Protocol):
    """What can be said of a recording in its metadata: a title, and plain values."""

    @property
    def name(self) -> str:
        """The title."""

    def to_json(self) -> dict[str, Any]:
        """Plain values, written as JSON."""


def read_recording(path: Path, watch: Watch = unwatched) -> Recording:
    """The recording at ``path``: WAV, FLAC, or whatever else libsndfile reads.

    Args:
        watch: told how many frames of how many are read.

    Raises:
        UsageError: missing, empty, no audio, more than two tracks, a rate out of range, longer than an hour at
            192 kHz, or samples that are not finite.
    """
    import soundfile

    owner = f"recording '{in_one_line(path)}'"
    with opened(path, "recording") as file:
        try:
            if not file.read(1):
                raise UsageError(f"{owner} is empty.")
            announced, open_at = announced_frames(file), length_left_open(file)
            # By descriptor: a suffix such as .raw would make soundfile believe the name instead of the content.
            with open(file.fileno(), "rb", closefd=False) as nameless:
                nameless.seek(0)
                source = nameless if open_at is None else ToTheEnd(nameless, open_at)
                with soundfile.SoundFile(source) as sound:
                    _check(sound, owner)
                    return _read(sound, owner, announced, () if open_at is None else (_LEFT_OPEN,), watch)
        except soundfile.SoundFileError as error:
            told = in_one_line(str(getattr(error, "error_string", error)), 120).rstrip(".")
            raise UsageError(f"{owner} cannot be read as audio: {told}.") from None
        except OSError as error:
            raise UsageError(f"{owner} cannot be read: {in_one_line(error.strerror or error).rstrip('.')}.") from None
        except MemoryError:
            raise TapewrightError(f"{owner} does not fit into memory.") from None


def write_recording(
    path: Path,
    signal: Signal,
    *,
    depth: str = "16",
    label: Described | None = None,
    force: bool = False,
    watch: Watch = unwatched,
) -> tuple[str, ...]:
    """Write ``signal`` as WAV or FLAC, as the suffix says, with its label in the metadata.

    Args:
        path: where to; ``.wav`` or ``.flac``.
        signal: both tracks; whole-number depths clip at full scale, ``float`` keeps what lies beyond it.
        depth: bits a sample: "8", "16", "24", "32" or "float"; FLAC takes the first three.
        label: what is on it.
        force: overwrite an existing file.
        watch: told how many frames of how many are written.

    Returns:
        What a person should know, one line each; clipping above all.

    Raises:
        UsageError, TapewrightError: as ``check_recording`` and ``writing.check_output``.
    """
    import soundfile

    from .. import __version__

    container, subtype = check_recording(path, depth, signal.sample_rate_hz, signal.frames)
    comment = json.dumps(label.to_json()) if label is not None else ""
    notes = []
    if len(comment) > _MOST_COMMENT_BYTES:
        comment = ""
        notes.append("the spec is too long for the file's metadata: keep the label with the recording")
    beyond, first = _beyond_full_scale(signal)
    if beyond:
        verb = "kept beyond" if depth == "float" else "clipped at"
        notes.append(f"{beyond} samples are {verb} full scale, the first at {first / signal.sample_rate_hz:.3f} s")
    with whole_file(path, force) as part:
        try:
            with soundfile.SoundFile(part, "w", signal.sample_rate_hz, 2, subtype, format=container) as sound:
                sound.software = f"tapewright {__version__}"
                if label is not None:
                    sound.title = label.name
                if comment:
                    sound.comment = comment
                written = 0
                for block in _blocks(signal):
                    sound.write(block.T)  # soundfile has libsndfile clip whole numbers
                    written += block.shape[1]
                    watch(written, signal.frames)
            if container == "WAV":
                with part.open("r+b") as file:
                    forget_the_time(file)
        except soundfile.SoundFileError as error:
            _ask_the_disk(part)  # libsndfile does not pass on why
            told = in_one_line(str(getattr(error, "error_string", error)), 120).rstrip(".")
            raise TapewrightError(f"recording '{in_one_line(path)}' cannot be written: {told}.") from None
    return tuple(notes)


def check_recording(path: Path, depth: str, sample_rate_hz: int, frames: int = 0) -> tuple[str, str]:
    """libsndfile's names for the container and the depth.

    Raises:
        UsageError: a suffix, a depth, a rate or a length that cannot be written.
    """
    owner = f"recording '{in_one_line(path)}'"
    if path.suffix.lower() not in _FORMATS:
        raise UsageError(f"{owner}: the name must end in {' or '.join(_FORMATS)}, not '{in_one_line(path.suffix)}'.")
    container, subtypes = _FORMATS[path.suffix.lower()]
    if depth not in subtypes:
        raise UsageError(f"{owner}: {container} takes {', '.join(subtypes)} bits, not '{in_one_line(depth, 20)}'.")
    highest = _HIGHEST_FLAC_RATE_HZ if container == "FLAC" else HIGHEST_RATE_HZ
    if not LOWEST_RATE_HZ <= sample_rate_hz <= highest:
        raise UsageError(f"{owner}: {container} takes {LOWEST_RATE_HZ} to {highest} Hz, not {sample_rate_hz}.")
    if frames > MOST_FRAMES:
        raise _too_long(owner, frames, sample_rate_hz)
    sample_bytes = 4 if depth == "float" else int(depth) // 8
    if container == "WAV" and frames * 2 * sample_bytes > _MOST_WAV_BYTES:
        raise UsageError(f"{owner}: WAV holds at most 4 GiB; FLAC or fewer bits would do.")
    return container, subtypes[depth]


def _check(sound: Any, owner: str) -> None:
    if sound.channels > 2:
        raise UsageError(f"{owner} must have one or two tracks, not {sound.channels}.")
    if not LOWEST_RATE_HZ <= sound.samplerate <= HIGHEST_RATE_HZ:
        raise UsageError(
            f"{owner}: the sample rate must be {LOWEST_RATE_HZ} to {HIGHEST_RATE_HZ} Hz, not {sound.samplerate}."
        )
    if MOST_FRAMES < sound.frames < _UNKNOWN_LENGTH:
        raise _too_long(owner, sound.frames, sound.samplerate)


def _too_long(owner: str, frames: int, sample_rate_hz: int) -> UsageError:
    hours = frames / sample_rate_hz / 3600
    return UsageError(f"{owner}: {hours:.1f} hours ({frames} frames) are too long; at most {MOST_FRAMES} frames.")


def _read(sound: Any, owner: str, announced: int | None, known: tuple[str, ...], watch: Watch) -> Recording:
    rate = int(sound.samplerate)
    told = sound.frames if sound.frames < _UNKNOWN_LENGTH else 0
    samples = np.empty((2, told or _BLOCK), np.float32)
    frames, notes = 0, list(known)
    for block in _audible(sound):
        end = frames + len(block)
        if end > MOST_FRAMES:
            raise _too_long(owner, end, rate)
        if end > samples.shape[1]:
            samples = np.concatenate([samples, np.empty_like(samples)], axis=1)
        samples[:, frames:end] = block.T  # one track goes on both rows
        frames = end
        watch(frames, told)
    expected = max(announced or 0, told)
    if not frames:
        raise UsageError(f"{owner} holds no audio.")
    if frames < samples.shape[1]:
        samples = samples[:, :frames].copy()
    if frames < expected:
        notes.append(f"cut short: {frames / rate:.3f} s of {expected / rate:.3f} s are there and used")
    if not (samples.min() >= -LOUDEST and samples.max() <= LOUDEST):  # NaN fails both
        wrong = np.flatnonzero(~(np.abs(samples) <= LOUDEST).all(axis=0))
        raise UsageError(
            f"{owner}: {wrong.size} frames are NaN, infinite or beyond {LOUDEST:,.0f} times full scale, "
            f"the first at {wrong[0] / rate:.3f} s."
        )
    if sound.channels == 1:
        notes.append("one track only: it is laid on both")
    if sound.subtype in _LOSSY:
        notes.append(f"{sound.subtype} throws away what data tapes need; record to WAV or FLAC")
    label = label_from_json(sound.comment)
    return Recording(Signal.owning(samples, rate), label, tuple(notes))


def _audible(sound: Any) -> Iterator[NDArray[np.float32]]:
    """All that can be read, in blocks of shape (frames, tracks) that are used up before the next."""
    import soundfile

    block = np.empty((_BLOCK, sound.channels), np.float32)
    is_first = True
    while True:
        block.fill(np.nan)
        try:
            count = len(sound.read(out=block))
        except soundfile.SoundFileError:
            # The error does not say how much was read before it: what still holds NaN was not. It is FLAC that ends
            # so, whose samples are whole numbers.
            count = int(np.isfinite(block).all(axis=1).sum())
            if count:
                yield block[:count]
            elif is_first:
                raise
            return
        if not count:
            return
        yield block[:count]
        is_first = False


def _ask_the_disk(part: Path) -> None:
    """Raise what the system says to writing more.

    Raises:
        OSError: the disk is full, or whatever else it is.
    """
    with part.open("ab", buffering=0) as file:
        wanted = bytes(_BLOCK)
        while wanted:
            wanted = wanted[file.write(wanted) :]
        os.fsync(file.fileno())


def _blocks(signal: Signal) -> Iterator[NDArray[np.float32]]:
    for start in range(0, signal.frames, _BLOCK):
        yield signal.samples[:, start : start + _BLOCK]


def _beyond_full_scale(signal: Signal) -> tuple[int, int]:
    """How many samples lie beyond full scale, and the first frame that holds one."""
    count, first = 0, 0
    for number, block in enumerate(_blocks(signal)):
        if block.max() <= 1.0 and block.min() >= -1.0:
            continue
        over = np.abs(block) > 1.0
        if not count:
            first = number * _BLOCK + int(over.any(axis=0).argmax())
        count += int(over.sum())
    return count, first
