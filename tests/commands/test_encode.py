"""``tapewright encode``."""

from __future__ import annotations

import json
import subprocess
import sys
import zlib
from pathlib import Path

import pytest
from command_shell import Shell
from tapewright.contracts import registry
from tapewright.contracts.codec import FORMAT_VERSION
from tapewright.files.programs import read_program
from tapewright.files.recordings import read_recording

CHIME = read_program("chime").data


def test_the_label_is_printed_and_travels_with_the_recording(shell: Shell) -> None:
    outcome = shell("encode", "chime", "-o", "a.wav", "--codec", "contents/telegraph:leader_s=0.5")
    assert (outcome.code, outcome.err) == (0, "")
    assert outcome.out.splitlines() == [
        "Program    chime",
        "Codec      contents/telegraph:leader_s=0.5",
        "In full    contents:copies=1",
        "           /telegraph:leader_s=0.5",
        f"Version    {FORMAT_VERSION}",
        "Length     128 bytes from address 0000",
        "Load time  0.7 s",
        f"CRC-32     {zlib.crc32(CHIME):08X}",
    ]
    label = read_recording(Path("a.wav")).label
    assert label is not None
    assert label.codec == "contents:copies=1/telegraph:leader_s=0.5"
    assert label.format_version == FORMAT_VERSION
    assert label.fits(CHIME)


def test_what_was_asked_and_what_it_stands_for_are_both_on_the_label(shell: Shell) -> None:
    lines = shell("encode", "chime", "-o", "a.wav", "--codec", "telegraph").out.splitlines()
    assert lines[1:3] == ["Codec      telegraph", "In full    telegraph:leader_s=0.1"]


def test_json_holds_the_label(shell: Shell) -> None:
    outcome = shell("encode", "chime", "-o", "a.flac", "--codec", "telegraph", "--json")
    told = json.loads(outcome.out)
    assert told["codec"] == "telegraph:leader_s=0.1"
    assert told["payload_bytes"] == 128
    assert told["crc32"] == f"{zlib.crc32(CHIME):08X}"
    assert told["tape_s"] == pytest.approx(read_recording(Path("a.flac")).signal.duration_s, abs=1e-4)
    assert told["file"] == "a.flac"
    assert told["guaranteed_burst_ms"] == 0


def test_the_dropout_that_costs_nothing_is_told(shell: Shell) -> None:
    Path("bells.bin").write_bytes(bytes(range(250)) * 4)
    promised_ms = registry.codec("steady-worn").guaranteed_burst_ms(1000)
    assert promised_ms > 100
    told = shell("encode", "bells.bin", "-o", "a.wav", "--codec", "steady-worn").out
    assert f"Bears      a dropout of {int(promised_ms)} ms, wherever it falls\n" in told
    told = shell("encode", "bells.bin", "-o", "b.wav", "--codec", "steady-worn", "--json").out
    assert json.loads(told)["guaranteed_burst_ms"] == promised_ms


def test_the_sturdy_stack_is_the_default(shell: Shell) -> None:
    shell("encode", "chime", "-o", "a.wav")
    label = read_recording(Path("a.wav")).label
    assert label is not None
    assert label.codec.startswith("contents:copies=1/rs:parity_bytes=32")


@pytest.mark.parametrize("bits", ["8", "16", "24", "32", "float"])
@pytest.mark.parametrize("rate", [8_000, 192_000])
def test_depth_and_rate_are_as_asked(shell: Shell, bits: str, rate: int) -> None:
    arguments = ("encode", "chime", "-o", "a.wav", "--codec", "telegraph", "--bits", bits, "--sample-rate-hz", rate)
    assert shell(*arguments).code == 0
    assert read_recording(Path("a.wav")).signal.sample_rate_hz == rate
    assert shell("decode", "a.wav", "--expect", "chime").code == 0


def test_gaps_and_addresses_are_said(shell: Shell) -> None:
    Path("two.hex").write_text(":0110000041AE\n:0110040042A9\n:00000001FF\n")
    outcome = shell("encode", "two.hex", "-o", "a.wav", "--codec", "telegraph")
    assert outcome.err == "note: 3 bytes that no record gives are filled with FF: 1001 to 1003\n"
    assert "Length     5 bytes from address 1000" in outcome.out


def test_a_program_too_long_for_any_recording_is_refused_before_any_work(shell: Shell) -> None:
    Path("long.bin").write_bytes(bytes(60_000))
    outcome = shell("encode", "long.bin", "-o", "a.flac", "--codec", "plain-clocked")
    assert outcome.code == 2
    assert "recording 'a.flac': 12.4 hours" in outcome.complaint
    assert not Path("a.flac").exists()


def test_the_help_states_defaults_and_an_example(shell: Shell) -> None:
    told = " ".join(shell("encode", "--help").out.split())
    assert "[default: sturdy]" in told
    assert "[default: 44100]" in told
    assert "Example: tapewright encode chime -o chime.wav --codec sturdy" in told


def test_encoding_imports_neither_numba_nor_scipy(tmp_path: Path) -> None:
    script = (
        "import sys\n"
        f"sys.argv = ['tapewright', 'encode', 'chime', '-o', {str(tmp_path / 'a.wav')!r}, '--codec', 'sturdy']\n"
        "from tapewright.commands import main\n"
        "try:\n    main()\nexcept SystemExit as leaving:\n    assert leaving.code == 0, leaving.code\n"
        "print(sorted({'numba', 'scipy', 'matplotlib', 'numpy'} & set(sys.modules)))\n"
    )
    ran = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True, cwd=tmp_path)
    assert ran.stdout.splitlines()[-1] == "['numpy']"
