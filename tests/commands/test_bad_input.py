"""Bad input: for each case the message, the exit code, and that nothing half-written stays."""

from __future__ import annotations

import struct
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import soundfile
from command_shell import Outcome, Shell

CHECKED = "contents/telegraph"


def files() -> dict[str, bytes]:
    """What stands in the folder, hidden files included."""
    return {str(path): path.read_bytes() for path in Path().rglob("*") if path.is_file()}


def refused(shell: Shell, *arguments: object, code: int = 2) -> Outcome:
    """The command fails with ``code``, says one line, prints no data, and leaves the folder as it was."""
    before = files()
    outcome = shell(*arguments)
    assert outcome.code == code, outcome.err
    assert outcome.out == ""
    assert len(outcome.complaint) > 0
    assert files() == before
    return outcome


PROGRAMS: dict[str, tuple[bytes | None, str]] = {
    "missing": (None, "program 'bad.hex': there is no such file; check the name; the demo program is called 'chime'."),
    "empty": (b"", "program 'bad.hex' is empty."),
    "checksum": (b":0110000041AF\n:00000001FF\n", "program 'bad.hex', line 1: the checksum must be AE, not AF."),
    "overlap": (
        b":0110000041AE\n:0110000041AE\n:00000001FF\n",
        "program 'bad.hex', line 2: overlaps line 1: both give address 1000.",
    ),
}


@pytest.mark.parametrize("case", PROGRAMS)
def test_bad_programs(shell: Shell, case: str) -> None:
    content, message = PROGRAMS[case]
    if content is not None:
        Path("bad.hex").write_bytes(content)
    assert refused(shell, "encode", "bad.hex", "-o", "a.wav", "--codec", CHECKED).complaint == message
    soundfile.write("tape.wav", np.zeros((100, 2)), 44_100)
    arguments = ("decode", "tape.wav", "-o", "out.bin", "--codec", CHECKED, "--expect", "bad.hex")
    assert refused(shell, *arguments).complaint == message


def test_a_program_of_64_kib_and_one_byte(shell: Shell) -> None:
    Path("big.bin").write_bytes(bytes(65_537))
    outcome = refused(shell, "encode", "big.bin", "-o", "a.wav", "--codec", CHECKED)
    assert outcome.complaint == "program 'big.bin': must be at most 65536 bytes, not 65537."
    Path("fits.bin").write_bytes(bytes(65_536))
    assert shell("encode", "fits.bin", "-o", "a.wav", "--codec", CHECKED, "--sample-rate-hz", 8_000).code == 0


def wav() -> bytes:
    """A small sound WAV file."""
    soundfile.write("made.wav", np.full((1000, 2), 0.25), 44_100, subtype="PCM_16")
    content = Path("made.wav").read_bytes()
    Path("made.wav").unlink()
    return content


def float_wav(wrong: float) -> bytes:
    samples = np.full((1000, 2), 0.25, np.float32)
    samples[441] = wrong
    soundfile.write("made.wav", samples, 44_100, subtype="FLOAT")
    content = Path("made.wav").read_bytes()
    Path("made.wav").unlink()
    return content


def many_tracks() -> bytes:
    soundfile.write("made.wav", np.zeros((10, 6)), 44_100)
    content = Path("made.wav").read_bytes()
    Path("made.wav").unlink()
    return content


RECORDINGS: dict[str, tuple[Callable[[], bytes] | None, str]] = {
    "missing": (None, "recording 'bad.wav': there is no such file; check the name."),
    "empty": (lambda: b"", "recording 'bad.wav' is empty."),
    "truncated header": (
        lambda: wav()[:30],
        "recording 'bad.wav' cannot be read as audio: Error in WAV file. No 'data' chunk marker.",
    ),
    "no samples": (lambda: wav()[:44], "recording 'bad.wav' holds no audio."),
    "not audio": (
        lambda: b"Dear tower keeper, please wind the clock. " * 20,
        "recording 'bad.wav' cannot be read as audio: Format not recognised.",
    ),
    "NaN": (
        lambda: float_wav(float("nan")),
        "recording 'bad.wav': 1 frames are NaN, infinite or beyond 1,000,000 times full scale, the first at 0.010 s.",
    ),
    "infinite": (
        lambda: float_wav(float("inf")),
        "recording 'bad.wav': 1 frames are NaN, infinite or beyond 1,000,000 times full scale, the first at 0.010 s.",
    ),
    "tracks": (many_tracks, "recording 'bad.wav' must have one or two tracks, not 6."),
    "rate": (
        lambda: wav()[:24] + struct.pack("<I", 999) + wav()[28:],
        "recording 'bad.wav': the sample rate must be 1000 to 768000 Hz, not 999.",
    ),
}


@pytest.mark.parametrize("command", ["decode", "degrade"])
@pytest.mark.parametrize("case", RECORDINGS)
def test_bad_recordings(shell: Shell, command: str, case: str) -> None:
    make, message = RECORDINGS[case]
    if make is not None:
        Path("bad.wav").write_bytes(make())
    options = ("-o", "out.bin", "--codec", CHECKED) if command == "decode" else ("-o", "out.wav", "--channel", "wire")
    assert refused(shell, command, "bad.wav", *options).complaint == message


def test_truncated_data_are_decoded_as_far_as_they_go(shell: Shell) -> None:
    assert shell("encode", "chime", "-o", "a.wav", "--codec", CHECKED).code == 0
    content = Path("a.wav").read_bytes()
    Path("a.wav").write_bytes(content[: len(content) * 3 // 4])
    outcome = shell("decode", "a.wav", "-o", "out.bin", "--expect", "chime")
    assert outcome.code == 3
    assert outcome.err.startswith("note: cut short: 0.2")
    assert "its check fails" in outcome.complaint
    assert 50 < len(Path("out.bin").read_bytes()) < 128


def test_one_track_is_decoded_and_said_once(shell: Shell) -> None:
    assert shell("encode", "chime", "-o", "a.wav", "--codec", CHECKED).code == 0
    samples, rate = soundfile.read("a.wav")
    soundfile.write("mono.wav", samples[:, 0], rate)
    outcome = shell("decode", "mono.wav", "-o", "out.bin", "--codec", CHECKED, "--expect", "chime")
    assert outcome.code == 0
    assert outcome.err.count("one track only: it is laid on both") == 1


@pytest.mark.parametrize("rate", [8_000, 192_000])
@pytest.mark.parametrize("codec", ["sturdy", "plain-biphase"])
def test_unusual_sample_rates_carry_a_program(shell: Shell, rate: int, codec: str) -> None:
    assert shell("encode", "chime", "-o", "a.wav", "--codec", codec, "--sample-rate-hz", rate).code == 0
    outcome = shell("decode", "a.wav", "-o", "out.bin", "--expect", "chime")
    assert outcome.code == 0, outcome.err


PRESETS = ("sturdy", "plain-biphase", "plain-clocked", "standard-300")


@pytest.mark.parametrize("codec", PRESETS)
def test_silence_is_no_program(shell: Shell, codec: str) -> None:
    soundfile.write("silence.wav", np.zeros((44_100 * 5, 2)), 44_100)
    outcome = refused(shell, "decode", "silence.wav", "-o", "out.bin", "--codec", codec, code=3)
    assert outcome.complaint in (
        "the program is not intact: its check fails.",
        "the program is not intact: no byte was heard.",
    )


@pytest.mark.parametrize("codec", PRESETS)
def test_ten_minutes_of_noise_end_and_are_never_called_intact(shell: Shell, codec: str) -> None:
    # Gaussian noise 14 dB below full scale. A stack with ``contents`` may call it intact with chance 2^-32; the others
    # have no check, so that only what they hear at all can be judged.
    noise = np.random.default_rng(600).normal(0, 0.2, (8_000 * 600, 2)).astype(np.float32)
    soundfile.write("noise.wav", noise, 8_000)
    outcome = shell("decode", "noise.wav", "-o", "out.bin", "--codec", codec)
    if codec in ("sturdy", "plain-biphase"):
        assert outcome.code == 3
        assert "its check fails" in outcome.complaint
    else:
        assert outcome.code == 3 or "nobody knows if they are right" in outcome.err
    assert len(outcome.err.splitlines()) < 100


SPECS = {
    "unknown plug-in": ("contents/telegraf", "codec: there is no 'telegraf'. Did you mean 'telegraph'?"),
    "unknown preset": ("sturdiest", "codec: there is no 'sturdiest'. Did you mean 'sturdy'?"),
    "unknown parameter": (
        "telegraph:leader_ms=5",
        "telegraph: there is no parameter 'leader_ms'. Did you mean 'leader_s'? There are: leader_s.",
    ),
    "repeated parameter": (
        "telegraph:leader_s=1,leader_s=2",
        "spec: parameter 'leader_s' of 'telegraph' is given twice",
    ),
    "parameter that is not a number": (
        "telegraph:leader_s=nan",
        "spec: parameter 'leader_s' of 'telegraph' must be finite, not nan",
    ),
    "infinite parameter": (
        "telegraph:leader_s=-inf",
        "spec: parameter 'leader_s' of 'telegraph' must be finite, not inf",
    ),
    "endless parameter": ("telegraph:leader_s=1e999", "spec: parameter 'leader_s' of 'telegraph' must be finite"),
    "out of range": ("telegraph:leader_s=11", "telegraph: parameter 'leader_s' must be 0 to 10 s, not 11."),
    "wrong kind": ("telegraph:leader_s=long", "telegraph: parameter 'leader_s' must be a number, not 'long'."),
    "unclosed parenthesis": ("(contents/telegraph", "spec: this '(' is never closed: unbalanced parentheses at char"),
    "unopened parenthesis": ("contents/telegraph)", "spec: this ')' was never opened: unbalanced parentheses at char"),
    "no line code": ("contents", "codec: a stack ends in a line code, and 'contents' is a layer."),
    "line code in the middle": ("telegraph/contents/telegraph", "codec: 'telegraph' is a line code and must come last"),
    "empty": ("", "spec: is empty; a stack of names is needed, such as 'sturdy'."),
    "missing file": ("@nowhere.toml", "spec file 'nowhere.toml': there is no such file; check the name."),
}


@pytest.mark.parametrize("case", SPECS)
def test_bad_codec_specs(shell: Shell, case: str) -> None:
    spec, message = SPECS[case]
    outcome = refused(shell, "encode", "chime", "-o", "a.wav", "--codec", spec)
    assert outcome.complaint.startswith(message)
    soundfile.write("tape.wav", np.zeros((100, 2)), 44_100)
    outcome = refused(shell, "decode", "tape.wav", "-o", "out.bin", "--codec", spec)
    assert outcome.complaint.startswith(message)


CHANNELS = {
    "unknown plug-in": ("hisss", "channel: there is no 'hisss'. Did you mean 'hiss'?"),
    "unknown parameter": ("level:gain=3", "level: there is no parameter 'gain'. Did you mean 'gain_db'?"),
    "repeated parameter": ("level:gain_db=3,gain_db=3", "spec: parameter 'gain_db' of 'level' is given twice"),
    "non-finite parameter": ("level:gain_db=inf", "spec: parameter 'gain_db' of 'level' must be finite, not inf"),
    "out of range": ("level:gain_db=1e9", "level: parameter 'gain_db' must be "),
    "against the physics": (
        "level:place=replay/hiss",
        "channel: 'hiss' (tape) cannot follow 'level' (replay): the order is record, tape, replay, capture.",
    ),
    "unclosed parenthesis": (
        "(hiss",
        "spec: this '(' is never closed: unbalanced parentheses at character 1",
    ),
}


@pytest.mark.parametrize("case", CHANNELS)
def test_bad_channel_specs(shell: Shell, case: str) -> None:
    spec, message = CHANNELS[case]
    soundfile.write("tape.wav", np.zeros((100, 2)), 44_100)
    outcome = refused(shell, "degrade", "tape.wav", "-o", "out.wav", "--channel", spec)
    assert outcome.complaint.startswith(message)


def test_an_unknown_receiver(shell: Shell) -> None:
    soundfile.write("tape.wav", np.zeros((100, 2)), 44_100)
    arguments = ("decode", "tape.wav", "-o", "out.bin", "--codec", CHECKED, "--receiver", "sond")
    assert refused(shell, *arguments).complaint.startswith("receiver: there is no 'sond'. Did you mean 'sound'?")


COMMANDS = {
    "encode": ("encode", "chime", "--codec", CHECKED),
    "decode": ("decode", "tape.wav", "--codec", CHECKED),
    "degrade": ("degrade", "tape.wav", "--channel", "wire"),
}


@pytest.mark.parametrize("command", COMMANDS)
def test_outputs_that_cannot_be_written(shell: Shell, command: str) -> None:
    assert shell("encode", "chime", "-o", "tape.wav", "--codec", CHECKED).code == 0
    Path("mine.wav").write_bytes(b"mine")
    arguments = COMMANDS[command]

    exists = refused(shell, *arguments, "-o", "mine.wav")
    assert exists.complaint == "output 'mine.wav' exists; --force overwrites it."

    missing = refused(shell, *arguments, "-o", "nowhere/out.wav")
    assert missing.complaint.startswith("output 'nowhere/out.wav': there is no folder '")

    no_folder = refused(shell, *arguments, "-o", "mine.wav/out.wav")
    assert no_folder.complaint.startswith("output 'mine.wav/out.wav': '")
    assert no_folder.complaint.endswith("' is not a folder; another name is needed.")

    # /proc takes no files from anybody, the superuser included, as a read-only disk does not.
    read_only = refused(shell, *arguments, "-o", "/proc/out.wav", code=1)
    assert read_only.complaint.startswith("output '/proc/out.wav' cannot be written: ")

    assert shell(*arguments, "-o", "mine.wav", "--force").code == 0
    assert Path("mine.wav").read_bytes() != b"mine"


@pytest.mark.parametrize("command", COMMANDS)
def test_outputs_are_looked_at_before_any_work(shell: Shell, command: str) -> None:
    # The inputs do not exist, and yet it is the output that is complained of.
    Path("mine.wav").write_bytes(b"mine")
    name, _, *options = COMMANDS[command]
    outcome = refused(shell, name, "missing", *options, "-o", "mine.wav")
    assert outcome.complaint == "output 'mine.wav' exists; --force overwrites it."


@pytest.mark.parametrize(
    ("options", "message"),
    [
        (("-o", "a.mp3"), "recording 'a.mp3': the name must end in .wav or .flac, not '.mp3'."),
        (("-o", "a.wav", "--bits", "12"), "recording 'a.wav': WAV takes 8, 16, 24, 32, float bits, not '12'."),
        (("-o", "a.flac", "--bits", "32"), "recording 'a.flac': FLAC takes 8, 16, 24 bits, not '32'."),
        (
            ("-o", "a.wav", "--sample-rate-hz", "999"),
            "recording 'a.wav': WAV takes 1000 to 768000 Hz, not 999.",
        ),
    ],
)
def test_recordings_that_cannot_be_made(shell: Shell, options: tuple[str, ...], message: str) -> None:
    assert refused(shell, "encode", "chime", "--codec", CHECKED, *options).complaint == message


def test_a_missing_option_is_named(shell: Shell) -> None:
    assert "--output" in refused(shell, "encode", "chime").complaint
    assert "--seed" in refused(shell, "degrade", "tape.wav", "-o", "b.wav", "--seed", "-1").complaint
