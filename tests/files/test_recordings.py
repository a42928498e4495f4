"""Recordings in and out, re-read by other readers than ours."""

from __future__ import annotations

import errno
import json
import os
import struct
import wave
from pathlib import Path

import numpy as np
import pytest
import scipy.io.wavfile
import soundfile
import tapewright
from tapewright.contracts.errors import TapewrightError, UsageError
from tapewright.contracts.signal import Signal
from tapewright.files import recordings
from tapewright.files.label import Label
from tapewright.files.recordings import read_recording, write_recording

LABEL = Label.of("chime", b"bells", "contents/biphase:bit_rate_hz=1200", 1)
ONE_STEP = {"8": 2**-7, "16": 2**-15, "24": 2**-23, "32": 2**-23, "float": 0.0}
"""Full scale is 1; reading back may be off by half a step of rounding and half a step of +full scale being one short.
32 bits are read back as float32, whose own step near 1 is 2^-24."""


def tones(frames: int = 1000, rate: int = 44_100) -> Signal:
    time = np.arange(frames) / rate
    return Signal(np.stack([0.9 * np.sin(6000 * time), -0.5 * np.cos(900 * time)]), rate)


@pytest.mark.parametrize("suffix", [".wav", ".flac"])
@pytest.mark.parametrize("depth", ["8", "16", "24", "32", "float"])
def test_recordings_round_trip(tmp_path: Path, suffix: str, depth: str) -> None:
    if suffix == ".flac" and depth in ("32", "float"):
        with pytest.raises(UsageError, match=f"FLAC takes 8, 16, 24 bits, not '{depth}'"):
            write_recording(tmp_path / f"a{suffix}", tones(), depth=depth)
        return
    path = tmp_path / f"a{suffix}"
    assert write_recording(path, tones(), depth=depth, label=LABEL) == ()
    back = read_recording(path)
    assert back.signal.sample_rate_hz == 44_100
    np.testing.assert_allclose(back.signal.samples, tones().samples, atol=ONE_STEP[depth], rtol=0)
    assert back.label == LABEL
    assert back.notes == ()
    assert not back.signal.samples.flags.writeable


@pytest.mark.parametrize("suffix", [".wav", ".flac"])
def test_any_player_shows_the_title_and_who_wrote_it(tmp_path: Path, suffix: str) -> None:
    write_recording(tmp_path / f"a{suffix}", tones(), label=LABEL)
    with soundfile.SoundFile(tmp_path / f"a{suffix}") as file:
        assert file.title == "chime"
        assert file.software.startswith(f"tapewright {tapewright.__version__}")
        assert json.loads(file.comment)["codec"] == LABEL.codec


@pytest.mark.parametrize("depth", ["8", "16", "24", "32"])
def test_python_s_own_wave_module_reads_what_is_written(tmp_path: Path, depth: str) -> None:
    path = tmp_path / "a.wav"
    write_recording(path, tones(), depth=depth, label=LABEL)
    with wave.open(str(path)) as file:
        width = int(depth) // 8
        assert (file.getnchannels(), file.getsampwidth(), file.getframerate()) == (2, width, 44_100)
        assert file.getnframes() == 1000
        raw = np.frombuffer(file.readframes(1000), np.uint8).reshape(1000, 2, width)
    # Microsoft and IBM, Multimedia Programming Interface and Data Specifications 1.0: up to 8 bits unsigned around
    # 128, more bits signed, lowest byte first.
    if width == 1:
        values = (raw[..., 0].astype(np.float64) - 128) / 128
    else:
        padded = np.zeros((1000, 2, 4), np.uint8)
        padded[..., 4 - width :] = raw
        values = padded.view("<i4")[..., 0] / 2.0**31
    np.testing.assert_allclose(values.T, tones().samples, atol=ONE_STEP[depth], rtol=0)


@pytest.mark.filterwarnings("ignore::scipy.io.wavfile.WavFileWarning")  # it skips the label's chunk and says so
@pytest.mark.parametrize(("depth", "scale"), [("16", 2**15), ("32", 2**31), ("float", 1)])
def test_scipy_reads_what_is_written(tmp_path: Path, depth: str, scale: int) -> None:
    path = tmp_path / "a.wav"
    write_recording(path, tones(), depth=depth, label=LABEL)
    rate, values = scipy.io.wavfile.read(path)
    assert rate == 44_100
    np.testing.assert_allclose(values.T / scale, tones().samples, atol=ONE_STEP[depth], rtol=0)


@pytest.mark.parametrize("rate", [1_000, 8_000, 192_000, 655_350, 768_000])
def test_rates_from_1_to_768_khz_are_written_and_read(tmp_path: Path, rate: int) -> None:
    write_recording(tmp_path / "a.wav", tones(rate=rate))
    assert read_recording(tmp_path / "a.wav").signal.sample_rate_hz == rate
    if rate <= 655_350:
        write_recording(tmp_path / "a.flac", tones(rate=rate))
        assert read_recording(tmp_path / "a.flac").signal.sample_rate_hz == rate
    else:
        with pytest.raises(UsageError, match="FLAC takes 1000 to 655350 Hz, not 768000"):
            write_recording(tmp_path / "a.flac", tones(rate=rate))


@pytest.mark.parametrize("rate", [999, 800_000])
def test_other_rates_are_refused(tmp_path: Path, rate: int) -> None:
    soundfile.write(tmp_path / "a.wav", np.zeros((10, 2)), rate)
    with pytest.raises(UsageError, match=f"the sample rate must be 1000 to 768000 Hz, not {rate}"):
        read_recording(tmp_path / "a.wav")


def test_one_track_is_laid_on_both_and_said_once(tmp_path: Path) -> None:
    soundfile.write(tmp_path / "a.wav", tones().samples[0], 44_100, subtype="FLOAT")
    back = read_recording(tmp_path / "a.wav")
    assert np.array_equal(back.signal.samples, np.stack([tones().samples[0]] * 2))
    assert back.notes == ("one track only: it is laid on both",)
    assert back.label is None


def test_more_than_two_tracks_are_refused(tmp_path: Path) -> None:
    soundfile.write(tmp_path / "a.wav", np.zeros((10, 3)), 44_100)
    with pytest.raises(UsageError, match="must have one or two tracks, not 3"):
        read_recording(tmp_path / "a.wav")


@pytest.mark.parametrize("wrong", [np.nan, np.inf, -np.inf, 3e38])
def test_samples_that_are_no_numbers_are_refused_with_their_place(tmp_path: Path, wrong: float) -> None:
    samples = tones().samples.T.copy()
    samples[441, 1] = wrong
    samples[500, 0] = wrong
    soundfile.write(tmp_path / "a.wav", samples, 44_100, subtype="FLOAT")
    with pytest.raises(UsageError, match=r"2 frames are NaN, infinite or beyond .*, the first at 0.010 s"):
        read_recording(tmp_path / "a.wav")


@pytest.mark.parametrize("suffix", [".wav", ".flac"])
def test_truncated_data_are_used_and_said(tmp_path: Path, suffix: str) -> None:
    path = tmp_path / f"a{suffix}"
    generator = np.random.default_rng(1)
    whole = Signal(generator.uniform(-0.5, 0.5, (2, 44_100)), 44_100)
    write_recording(path, whole, label=LABEL)
    content = path.read_bytes()
    path.write_bytes(content[: len(content) * 3 // 5])
    back = read_recording(path)
    assert 0.5 < back.signal.duration_s < 0.6
    assert back.notes == (f"cut short: {back.signal.duration_s:.3f} s of 1.000 s are there and used",)
    np.testing.assert_allclose(back.signal.samples, whole.samples[:, : back.signal.frames], atol=2**-15)
    assert back.label == LABEL


@pytest.mark.parametrize("suffix", [".wav", ".flac"])
@pytest.mark.parametrize("kept", [1, 4, 11, 12, 20, 30, 40, 44, 50])
def test_a_truncated_header_is_one_line(tmp_path: Path, suffix: str, kept: int) -> None:
    path = tmp_path / f"a{suffix}"
    write_recording(path, tones(), label=LABEL)
    path.write_bytes(path.read_bytes()[:kept])
    with pytest.raises(UsageError, match=f"^recording '.*a{suffix}' cannot be read as audio: .*") as raised:
        read_recording(path)
    assert "\n" not in str(raised.value)


@pytest.mark.parametrize("size", [0, 0x7FFFFFFF, 0xFFFFFFFF])
@pytest.mark.parametrize("riff_size", [0, 36, 0xFFFFFFFF])
@pytest.mark.parametrize("depth", ["8", "16", "24", "float"])
def test_a_length_that_the_recorder_never_filled_in_is_what_the_file_holds(
    tmp_path: Path, size: int, riff_size: int, depth: str
) -> None:
    path = tmp_path / "a.wav"
    write_recording(path, tones(), depth=depth)
    whole = read_recording(path)
    assert whole.notes == ()
    content = path.read_bytes()
    at = content.index(b"data") + 4
    left = content[:4] + struct.pack("<I", riff_size) + content[8:at] + struct.pack("<I", size) + content[at + 4 :]
    path.write_bytes(left)
    back = read_recording(path)
    assert back.signal == whole.signal
    assert back.notes == ("the file does not say its length, as if its recorder had stopped short: all of it is used",)
    assert path.read_bytes() == left


def test_no_frames_but_other_chunks_behind_them_are_no_audio(tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    soundfile.write(path, np.zeros((0, 2)), 44_100)
    path.write_bytes(path.read_bytes() + b"LIST\x05\0\0\0INFOx\0" + b"note\x04\0\0\0bell")
    with pytest.raises(UsageError, match="holds no audio"):
        read_recording(path)


def without_length(flac: bytes) -> bytes:
    """A FLAC file as an encoder that writes to a pipe leaves it (RFC 9639, section 8.2: the last 36 bits before the
    checksum of STREAMINFO are the number of samples, 0 if unknown)."""
    changed = bytearray(flac)
    changed[21] &= 0xF0
    changed[22:26] = bytes(4)
    return bytes(changed)


@pytest.mark.parametrize("block", [16, 300, 1 << 18])
def test_a_flac_file_of_unknown_length_is_read_to_its_end(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, block: int
) -> None:
    path = tmp_path / "a.flac"
    write_recording(path, tones())
    expected = read_recording(path).signal
    path.write_bytes(without_length(path.read_bytes()))
    monkeypatch.setattr(recordings, "_BLOCK", block)
    back = read_recording(path)
    assert back.signal == expected
    assert back.notes == ()
    monkeypatch.setattr(recordings, "MOST_FRAMES", 999)
    with pytest.raises(UsageError, match="at most 999 frames"):
        read_recording(path)


def test_no_frames_and_no_bytes_and_no_audio_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    path.write_bytes(b"")
    with pytest.raises(UsageError, match=r"^recording '.*a.wav' is empty\.$"):
        read_recording(path)
    soundfile.write(path, np.zeros((0, 2)), 44_100)
    with pytest.raises(UsageError, match=r"^recording '.*a.wav' holds no audio\.$"):
        read_recording(path)
    path.write_bytes(b"Dear tower keeper, " * 99)
    with pytest.raises(UsageError, match="cannot be read as audio: Format not recognised"):
        read_recording(path)
    with pytest.raises(UsageError, match="there is no such file"):
        read_recording(tmp_path / "missing.wav")
    with pytest.raises(UsageError, match="is a folder"):
        read_recording(tmp_path)


def test_the_content_counts_not_the_name(tmp_path: Path) -> None:
    write_recording(tmp_path / "a.flac", tones())
    (tmp_path / "a.flac").rename(tmp_path / "a.raw")
    assert read_recording(tmp_path / "a.raw").signal.frames == 1000


def test_longer_than_an_hour_at_192_khz_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    write_recording(tmp_path / "a.wav", tones())
    monkeypatch.setattr(recordings, "MOST_FRAMES", 999)
    with pytest.raises(UsageError, match=r"0.0 hours \(1000 frames\) are too long; at most 999 frames"):
        read_recording(tmp_path / "a.wav")
    with pytest.raises(UsageError, match=r"0.0 hours \(1000 frames\) are too long; at most 999 frames"):
        write_recording(tmp_path / "b.flac", tones())
    assert not (tmp_path / "b.flac").exists()


def test_a_lossy_recording_is_read_with_advice(tmp_path: Path) -> None:
    soundfile.write(tmp_path / "a.ogg", tones(20_000).samples.T, 44_100, format="OGG", subtype="VORBIS")
    assert read_recording(tmp_path / "a.ogg").notes == (
        "VORBIS throws away what data tapes need; record to WAV or FLAC",
    )


@pytest.mark.parametrize(
    ("suffix", "depth"),
    [(".wav", "8"), (".wav", "16"), (".wav", "24"), (".wav", "32"), (".flac", "16"), (".flac", "24")],
)
def test_whole_numbers_clip_and_say_so(tmp_path: Path, suffix: str, depth: str) -> None:
    loud = tones().samples.copy()
    loud[1, 441] = 1.5
    loud[0, 500] = -7.0
    notes = write_recording(tmp_path / f"a{suffix}", Signal(loud, 44_100), depth=depth)
    assert notes == ("2 samples are clipped at full scale, the first at 0.010 s",)
    back = read_recording(tmp_path / f"a{suffix}").signal.samples
    assert back[1, 441] == pytest.approx(1.0, abs=ONE_STEP[depth])
    assert back[0, 500] == pytest.approx(-1.0, abs=ONE_STEP[depth])


def test_float_keeps_what_lies_beyond_full_scale_and_says_so(tmp_path: Path) -> None:
    loud = tones().samples.copy()
    loud[1, 441] = 1.5
    notes = write_recording(tmp_path / "a.wav", Signal(loud, 44_100), depth="float")
    assert notes == ("1 samples are kept beyond full scale, the first at 0.010 s",)
    assert np.array_equal(read_recording(tmp_path / "a.wav").signal.samples, loud)


def test_long_recordings_are_written_in_blocks_without_a_seam(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(recordings, "_BLOCK", 64)
    loud = tones().samples.copy()
    loud[0, 700] = 2.0
    notes = write_recording(tmp_path / "a.wav", Signal(loud, 44_100), depth="float")
    assert notes == (f"1 samples are kept beyond full scale, the first at {700 / 44_100:.3f} s",)
    assert np.array_equal(read_recording(tmp_path / "a.wav").signal.samples, loud)


@pytest.mark.parametrize("name", ["a.mp3", "a", "a.hex"])
def test_other_suffixes_are_refused(tmp_path: Path, name: str) -> None:
    with pytest.raises(UsageError, match=r"the name must end in .wav or .flac, not"):
        write_recording(tmp_path / name, tones())
    assert not list(tmp_path.iterdir())


def test_a_wav_file_of_more_than_4_gib_is_refused() -> None:
    with pytest.raises(UsageError, match="WAV holds at most 4 GiB; FLAC or fewer bits would do"):
        recordings.check_recording(Path("a.wav"), "32", 192_000, 650_000_000)
    recordings.check_recording(Path("a.flac"), "24", 192_000, 650_000_000)


def test_a_spec_too_long_for_the_metadata_is_said(tmp_path: Path) -> None:
    long = Label.of("chime", b"bells", "contents/" * 300 + "biphase", 1)
    notes = write_recording(tmp_path / "a.wav", tones(), label=long)
    assert notes == ("the spec is too long for the file's metadata: keep the label with the recording",)
    assert read_recording(tmp_path / "a.wav").label is None


@pytest.mark.parametrize("suffix", [".wav", ".flac"])
def test_the_longest_label_that_is_written_is_read_back(tmp_path: Path, suffix: str) -> None:
    room = recordings._MOST_COMMENT_BYTES - len(json.dumps(LABEL.to_json()))
    longest = Label.of("chime", b"bells", LABEL.codec + "x" * room, 1)
    assert write_recording(tmp_path / f"a{suffix}", tones(), label=longest) == ()
    assert read_recording(tmp_path / f"a{suffix}").label == longest


def test_a_full_disk_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(descriptor: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(TapewrightError, match="No space left on device"):
        write_recording(tmp_path / "a.wav", tones())
    assert not list(tmp_path.iterdir())


def test_a_failing_writer_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*_: object) -> None:
        raise soundfile.LibsndfileError(2)

    monkeypatch.setattr(soundfile.SoundFile, "write", fail)
    with pytest.raises(TapewrightError, match=r"^recording '.*a.wav' cannot be written: ") as raised:
        write_recording(tmp_path / "a.wav", tones())
    assert raised.value.exit_code == 1
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("name", ["a.wav", "a.flac"])
def test_reading_and_writing_tell_how_far_they_are(tmp_path: Path, name: str) -> None:
    frames = 600_000
    told: list[tuple[int, int]] = []
    signal = Signal(np.zeros((2, frames)), 44_100)
    write_recording(tmp_path / name, signal, watch=lambda done, of: told.append((done, of)))
    read_recording(tmp_path / name, lambda done, of: told.append((done, of)))
    assert told == 2 * [(262_144, frames), (524_288, frames), (frames, frames)]


def test_a_disk_that_is_full_is_called_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """libsndfile says only "System error" then."""

    def fail(*_: object) -> None:
        raise soundfile.LibsndfileError(2)

    def full(descriptor: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(soundfile.SoundFile, "write", fail)
    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(TapewrightError, match=r"a\.wav' cannot be written: No space left on device; make room"):
        write_recording(tmp_path / "a.wav", tones())
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize(("name", "depth"), [("a.wav", "16"), ("a.wav", "float"), ("a.flac", "24")])
def test_the_same_signal_gives_the_same_file_at_any_time(tmp_path: Path, name: str, depth: str) -> None:
    write_recording(tmp_path / name, tones(), depth=depth, label=LABEL)
    first = (tmp_path / name).read_bytes()
    # Of what libsndfile 1.2 writes, only the PEAK chunk of float WAV files holds the time, in seconds since 1970.
    if depth == "float":
        assert first[first.index(b"PEAK") + 8 :][:8] == struct.pack("<II", 1, 0)
    write_recording(tmp_path / name, tones(), depth=depth, label=LABEL, force=True)
    assert (tmp_path / name).read_bytes() == first
