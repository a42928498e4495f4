"""``tapewright testtape``."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
from command_shell import Shell
from tapewright.files.recordings import read_recording
from tapewright.measurement.layout import DURATION_S, LAYOUT_VERSION, whole_recording


def test_the_recording_is_written_and_its_length_said(shell: Shell) -> None:
    outcome = shell("testtape", "-o", "test.wav", "--sample-rate-hz", 32_000)
    assert outcome.code == 0, outcome.err
    assert outcome.out == ""
    assert outcome.err == f"test.wav: 3 min 55 s, layout version {LAYOUT_VERSION}\n"
    read = read_recording(Path("test.wav"))
    assert read.signal.duration_s == DURATION_S
    assert np.abs(read.signal.samples - whole_recording(32_000).samples).max() < 1 / 32_000
    assert b'"test_recording"' in Path("test.wav").read_bytes()


def test_json_lists_the_sections(shell: Shell) -> None:
    outcome = shell("testtape", "-o", "test.flac", "--sample-rate-hz", 32_000, "--json")
    assert outcome.code == 0, outcome.err
    told = json.loads(outcome.out)
    assert told["layout_version"] == LAYOUT_VERSION
    assert told["sections"][-1]["name"] == "tail"
    assert told["length_s"] == DURATION_S


def test_bad_outputs_and_rates_are_refused(shell: Shell) -> None:
    assert (
        shell("testtape", "-o", "test.mp3").complaint
        == "recording 'test.mp3': the name must end in .wav or .flac, not '.mp3'."
    )
    outcome = shell("testtape", "-o", "test.wav", "--sample-rate-hz", 22_050)
    assert outcome.code == 2
    assert "at least 32000" in outcome.complaint
    assert not Path("test.wav").exists()
    Path("test.wav").write_bytes(b"mine")
    assert shell("testtape", "-o", "test.wav").code == 2
    assert Path("test.wav").read_bytes() == b"mine"


def test_a_test_recording_is_no_program(shell: Shell) -> None:
    assert shell("testtape", "-o", "test.wav", "--sample-rate-hz", 32_000).code == 0
    outcome = shell("decode", "test.wav")
    assert outcome.code == 2
    assert "no label that names its codec" in outcome.complaint
