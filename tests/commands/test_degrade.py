"""``tapewright degrade``."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from command_shell import Shell
from tapewright.contracts import registry
from tapewright.contracts.channel_model import Channel
from tapewright.contracts.streams import stream
from tapewright.files.recordings import read_recording


@pytest.fixture
def recorded(shell: Shell) -> Shell:
    assert shell("encode", "chime", "-o", "a.wav", "--codec", "telegraph", "--bits", "float").code == 0
    return shell


def degraded(shell: Shell, output: str, *options: object) -> np.ndarray:
    outcome = shell("degrade", "a.wav", "-o", output, "--bits", "float", *options)
    assert outcome.code == 0, outcome.err
    return read_recording(Path(output)).signal.samples


def test_the_wire_changes_nothing(recorded: Shell) -> None:
    before = read_recording(Path("a.wav")).signal.samples
    assert np.array_equal(degraded(recorded, "b.wav", "--channel", "wire"), before)


def test_the_audio_is_that_of_the_channel_with_the_trial_s_stream(recorded: Shell) -> None:
    expected = registry.channel("worn").degrade(read_recording(Path("a.wav")).signal, stream(5, 2, "channel"))
    heard = degraded(recorded, "b.wav", "--channel", "worn", "--seed", 5, "--trial", 2)
    assert np.array_equal(heard, expected.samples)


def test_same_seed_same_file_other_seed_other_file(recorded: Shell) -> None:
    for name, seed in (("b.wav", 1), ("c.wav", 1), ("d.wav", 2)):
        assert recorded("degrade", "a.wav", "-o", name, "--channel", "worn", "--seed", seed).code == 0
    assert Path("b.wav").read_bytes() == Path("c.wav").read_bytes()
    assert Path("b.wav").read_bytes() != Path("d.wav").read_bytes()


def test_the_label_goes_along_with_what_was_done(recorded: Shell) -> None:
    degraded(recorded, "b.wav", "--channel", "wire")
    assert recorded("degrade", "b.wav", "-o", "c.flac", "--channel", "level:gain_db=-3", "--seed", 7).code == 0
    label = read_recording(Path("c.flac")).label
    assert label is not None
    assert label.name == "chime"
    assert label.history == ("degraded by wire, seed 0, trial 0", "degraded by level:gain_db=-3, seed 7, trial 0")


def test_clipping_is_said(recorded: Shell) -> None:
    outcome = recorded("degrade", "a.wav", "-o", "b.wav", "--channel", "level:gain_db=12", "--json")
    assert outcome.code == 0
    assert "samples are clipped at full scale, the first at 0.100 s" in outcome.err
    told = json.loads(outcome.out)
    assert "gain_db=12" in told["channel"]
    assert told["seed"] == 0
    assert "clipped" in told["notes"][0]


def test_talk_goes_to_stderr(recorded: Shell) -> None:
    outcome = recorded("degrade", "a.wav", "-o", "b.wav", "--channel", "wire", "--seed", 3)
    assert outcome.out == ""
    assert outcome.err == "b.wav: 0.3 s through wire, seed 3, trial 0\n"


def test_the_recording_itself_is_protected(recorded: Shell) -> None:
    before = Path("a.wav").read_bytes()
    assert recorded("degrade", "a.wav", "-o", "a.wav").code == 2
    assert Path("a.wav").read_bytes() == before
    assert recorded("degrade", "a.wav", "-o", "a.wav", "--channel", "level:gain_db=-3", "--force").code == 0
    assert Path("a.wav").read_bytes() != before


def test_an_impossible_output_is_refused_before_the_tape_is_simulated(
    recorded: Shell, monkeypatch: pytest.MonkeyPatch
) -> None:
    ran: list[str] = []
    monkeypatch.setattr(Channel, "degrade", lambda *_: ran.append("degrade"))
    outcome = recorded("degrade", "a.wav", "-o", "b.flac", "--bits", "32")
    assert outcome.code == 2
    assert outcome.complaint == "recording 'b.flac': FLAC takes 8, 16, 24 bits, not '32'."
    assert ran == []


def test_the_help_states_defaults_and_an_example(shell: Shell) -> None:
    told = " ".join(shell("degrade", "--help").out.split())
    assert "[default: worn]" in told
    assert "Example: tapewright degrade chime.wav -o worn.wav --channel worn --seed 1" in told
