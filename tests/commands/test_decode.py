"""``tapewright decode``."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
from command_shell import Shell
from tapewright.contracts import registry
from tapewright.contracts.streams import stream
from tapewright.files.programs import read_program
from tapewright.files.recordings import Recording, read_recording, write_recording

CHIME = read_program("chime").data


def encoded(shell: Shell, codec: str) -> Recording:
    assert shell("encode", "chime", "-o", "a.wav", "--codec", codec).code == 0
    return read_recording(Path("a.wav"))


def damaged(shell: Shell, codec: str, first_byte: int, bytes_hit: int, keep_label: bool = True) -> float:
    """Silence over some bytes of ``telegraph``; where on the tape, in seconds."""
    recording = encoded(shell, codec)
    frames_a_byte = 64
    leader = int(np.flatnonzero(np.abs(recording.signal.samples[0]) > 0.05)[0])
    start = leader + first_byte * frames_a_byte
    samples = recording.signal.samples.copy()
    samples[:, start : start + bytes_hit * frames_a_byte] = 0
    hurt = type(recording.signal)(samples, recording.signal.sample_rate_hz)
    write_recording(Path("a.wav"), hurt, label=recording.label if keep_label else None, force=True)
    return start / recording.signal.sample_rate_hz


def test_an_intact_load(shell: Shell) -> None:
    encoded(shell, "contents/telegraph")
    outcome = shell("decode", "a.wav", "-o", "out.bin", "--codec", "contents/telegraph", "--expect", "chime")
    assert outcome.code == 0
    assert outcome.out == ""
    heard, verdict = outcome.err.splitlines()
    assert heard.startswith("heard 1096 bits from 0.100 to 0.299 s, speed ")
    assert verdict == (
        "128 bytes in out.bin: its check holds, it fits the check on the recording's label, it is as expected"
    )
    assert Path("out.bin").read_bytes() == CHIME


def test_without_a_codec_the_label_names_it(shell: Shell) -> None:
    encoded(shell, "contents/telegraph:leader_s=0.2")
    outcome = shell("decode", "a.wav", "-o", "out.bin")
    assert outcome.code == 0
    assert outcome.err.startswith("note: the recording's label says: contents:copies=1/telegraph:leader_s=0.2\n")
    assert Path("out.bin").read_bytes() == CHIME


def test_a_label_that_says_otherwise_is_told_and_the_asked_codec_used(shell: Shell) -> None:
    encoded(shell, "contents/telegraph")
    outcome = shell("decode", "a.wav", "--codec", "telegraph")
    assert "note: the recording's label says: contents:copies=1/telegraph:leader_s=0.1" in outcome.err
    assert outcome.code == 3
    assert "does not fit the check on the recording's label" in outcome.complaint


def test_without_codec_or_label_it_asks(shell: Shell) -> None:
    recording = encoded(shell, "telegraph")
    write_recording(Path("a.wav"), recording.signal, force=True)
    outcome = shell("decode", "a.wav", "-o", "out.bin")
    assert outcome.code == 2
    assert outcome.complaint == "recording 'a.wav' has no label that names its codec; --codec does, or --codec auto."
    assert not Path("out.bin").exists()


def test_a_format_without_a_check_is_warned_of(shell: Shell) -> None:
    recording = encoded(shell, "telegraph")
    write_recording(Path("a.wav"), recording.signal, force=True)
    outcome = shell("decode", "a.wav", "-o", "out.bin", "--codec", "telegraph")
    assert outcome.code == 0
    assert outcome.err.splitlines()[1:] == [
        "warning: this format has no check of its own",
        "128 bytes in out.bin: nobody knows if they are right",
    ]


def test_a_damaged_load_exits_3_and_keeps_the_best_guess(shell: Shell) -> None:
    damaged(shell, "contents/telegraph", 9 + 20, 3)
    outcome = shell("decode", "a.wav", "-o", "out.bin")
    assert outcome.code == 3
    assert "its check fails, 3 of 128 bytes are known lost" in outcome.complaint
    assert outcome.complaint.endswith("the best guess, 128 bytes, is in out.bin.")
    heard = Path("out.bin").read_bytes()
    assert [place for place in range(128) if heard[place] != CHIME[place]] == [20, 21, 22]


def test_with_expect_it_says_which_bytes_differ_and_what_happened_there(shell: Shell) -> None:
    time_s = damaged(shell, "telegraph", 20, 3, keep_label=False)
    outcome = shell("decode", "a.wav", "--codec", "telegraph", "--expect", "chime")
    assert outcome.code == 3
    assert "3 of 128 bytes are not as expected" in outcome.complaint
    (line,) = [line for line in outcome.err.splitlines() if line.startswith("bytes ")]
    assert line.startswith(f"bytes 0014 to 0016 at {time_s + 0.0007:.3f} s: expected {CHIME[20:23].hex(' ')}, heard 00")
    assert ", 3 known lost; " in line
    assert line.endswith("signal lost")


def test_lost_bytes_alone_fail_a_load_unless_they_are_known_right(shell: Shell) -> None:
    # 0x00 is what silence reads as, so the guess at a lost zero byte is right.
    zero = CHIME.index(0)
    damaged(shell, "telegraph", zero, 1, keep_label=False)
    unknown = shell("decode", "a.wav", "--codec", "telegraph")
    assert unknown.code == 3
    assert "1 of 128 bytes are known lost" in unknown.complaint
    assert shell("decode", "a.wav", "--codec", "telegraph", "--expect", "chime").code == 0


def test_json_holds_everything_and_stdout_nothing_else(shell: Shell) -> None:
    damaged(shell, "contents/telegraph", 9 + 20, 3)
    outcome = shell("decode", "a.wav", "-o", "out.bin", "--expect", "chime", "--json")
    told = json.loads(outcome.out)
    assert outcome.code == 3
    assert told["codec"] == "contents:copies=1/telegraph:leader_s=0.1"
    assert told["receiver"] == "sound"
    assert (told["payload_bytes"], told["intact"], told["lost"]) == (128, False, [20, 21, 22])
    assert (told["label_fits"], told["as_expected"], told["file"]) == (False, False, "out.bin")
    assert told["differences"][0]["start"] == 20
    assert told["differences"][0]["expected"] == CHIME[20:23].hex()
    assert any(event["what"] == "signal lost" for event in told["events"])


def test_hex_and_s_records_keep_the_address(shell: Shell) -> None:
    Path("high.hex").write_text(":0110000041AE\n:00000001FF\n")
    shell("encode", "high.hex", "-o", "a.wav", "--codec", "telegraph")
    assert shell("decode", "a.wav", "-o", "out.s19").code == 0
    assert read_program("out.s19").origin == 0x1000
    assert shell("decode", "a.wav", "-o", "out.hex", "--origin", "0x20").code == 0
    assert read_program("out.hex").origin == 0x20
    assert shell("decode", "a.wav", "-o", "new.hex", "--origin", "up there").code == 2
    assert not Path("new.hex").exists()


def test_a_newer_format_version_is_warned_of(shell: Shell) -> None:
    recording = encoded(shell, "telegraph")
    assert recording.label is not None
    newer = type(recording.label)(
        "chime", recording.label.codec, 999, recording.label.payload_bytes, recording.label.crc32
    )
    write_recording(Path("a.wav"), recording.signal, label=newer, force=True)
    assert "warning: format version 999 is newer than" in shell("decode", "a.wav").err


def test_a_receiver_that_cannot_read_the_format_says_why(shell: Shell) -> None:
    encoded(shell, "contents/telegraph")
    outcome = shell("decode", "a.wav", "-o", "out.bin", "--receiver", "apprentice")
    assert outcome.code == 2
    assert outcome.complaint == "receiver 'apprentice' cannot decode this: the apprentice cannot count blocks."
    assert not Path("out.bin").exists()


def test_a_receiver_drawn_at_random_gets_the_stream_of_its_seed_and_trial(shell: Shell) -> None:
    recording = encoded(shell, "telegraph")
    write_recording(Path("a.wav"), recording.signal, force=True)
    arguments = ("decode", "a.wav", "-o", "out.bin", "--codec", "telegraph", "--receiver", "apprentice", "--force")
    for seed, trial in ((0, 0), (3, 0), (3, 8)):
        shell(*arguments, "--seed", seed, "--trial", trial)
        assert Path("out.bin").read_bytes() == CHIME + stream(seed, trial, "receiver").bytes(4)


def test_an_intact_load_of_no_bytes_is_an_empty_file(shell: Shell) -> None:
    signal = registry.codec("contents/telegraph").encode(b"")
    write_recording(Path("a.wav"), signal)
    assert shell("decode", "a.wav", "-o", "out.bin", "--codec", "contents/telegraph").code == 0
    assert Path("out.bin").read_bytes() == b""


def test_nothing_is_overwritten_unless_asked(shell: Shell) -> None:
    encoded(shell, "telegraph")
    Path("out.bin").write_bytes(b"mine")
    assert shell("decode", "a.wav", "-o", "out.bin").code == 2
    assert Path("out.bin").read_bytes() == b"mine"
    assert shell("decode", "a.wav", "-o", "out.bin", "--force").code == 0
    assert Path("out.bin").read_bytes() == CHIME


def test_a_recording_is_not_overwritten_with_its_program_even_if_forced(shell: Shell) -> None:
    encoded(shell, "telegraph")
    before = Path("a.wav").read_bytes()
    Path("link.wav").symlink_to("a.wav")
    for name in ("a.wav", "link.wav"):
        outcome = shell("decode", "a.wav", "-o", name, "--force")
        assert outcome.code == 2
        assert outcome.complaint == f"output '{name}' is the input itself; another name is needed."
    assert Path("a.wav").read_bytes() == before


def test_the_help_states_defaults_and_an_example(shell: Shell) -> None:
    told = " ".join(shell("decode", "--help").out.split())
    assert "[default: sound]" in told
    assert "Default: what the recording's own label says" in told
    assert "Exits with 3 if" in told
    assert "Example: tapewright decode worn.wav -o chime.bin --expect chime" in told


def test_the_chime_program_comes_back_through_a_worn_tape(shell: Shell) -> None:
    # One fixed tape: a right decode stays right; the rate over many tapes is the benchmark's business.
    assert shell("encode", "chime", "-o", "a.wav", "--codec", "sturdy").code == 0
    assert shell("degrade", "a.wav", "-o", "worn.wav", "--channel", "worn", "--seed", 1).code == 0
    outcome = shell("decode", "worn.wav", "-o", "chime.bin", "--codec", "sturdy", "--expect", "chime")
    assert outcome.code == 0
    assert Path("chime.bin").read_bytes() == CHIME
