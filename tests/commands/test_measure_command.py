"""``tapewright measure``."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from command_shell import Shell
from tapewright.contracts import registry
from tapewright.contracts.signal import Signal
from tapewright.files.recordings import write_recording
from tapewright.measurement.layout import whole_recording
from tapewright.measurement.profile import read_profile

RATE_HZ = 32_000


@pytest.fixture(scope="module")
def captured(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A capture of the test recording from an ordinary deck with a tape in use."""
    path = tmp_path_factory.mktemp("captured") / "capture.wav"
    heard = registry.channel("played").degrade(whole_recording(RATE_HZ), np.random.default_rng(5))
    write_recording(path, heard)
    return path


@pytest.fixture
def short(shell: Shell) -> Shell:
    """A shell in a folder that holds ``short.wav``, 20 s with a tone that lasts."""
    times = np.arange(30 * RATE_HZ) / RATE_HZ
    write_recording(Path("tone.wav"), Signal(0.3 * np.sin(2 * np.pi * 3150 * times), RATE_HZ))
    return shell


def test_a_capture_becomes_a_profile_a_table_and_a_picture(shell: Shell, captured: Path) -> None:
    outcome = shell("measure", captured, "-o", "profile.toml", "--plot", "deck.png")
    assert outcome.code == 0, outcome.err
    profile = read_profile(Path("profile.toml"))
    assert profile.figure("flutter_weighted_percent") is not None
    assert profile.provenance["source"] == "capture.wav"
    assert Path("deck.png").read_bytes().startswith(b"\x89PNG")
    (line,) = [line for line in outcome.out.splitlines() if line.startswith("flutter weighted ")]
    assert " % " in line
    assert " to " in line
    assert len(outcome.out.splitlines()) >= len(profile.figures)
    encoded = shell("encode", "chime", "-o", "chime.wav", "--codec", "telegraph")
    assert encoded.code == 0, encoded.err
    degraded = shell("degrade", "chime.wav", "-o", "worn.wav", "--channel", "@profile.toml")
    assert degraded.code == 0, degraded.err


def test_json_is_the_profile(short: Shell) -> None:
    outcome = short("measure", "tone.wav", "--json", "-o", "profile.toml")
    assert outcome.code == 0, outcome.err
    told = json.loads(outcome.out)
    written = read_profile(Path("profile.toml")).to_json()
    assert {key: told[key] for key in ("spec", "missing", "profile", "histograms")} == {
        key: written[key] for key in ("spec", "missing", "profile", "histograms")
    }
    assert told["figures"].keys() == written["figures"].keys()
    assert told["figures"]["flutter_weighted_percent"]["value"] < 0.01
    assert told["missing"]["skew_us"].startswith("the capture does not hold the test recording")


def test_what_is_missing_is_said_with_the_reason(short: Shell) -> None:
    outcome = short("measure", "tone.wav")
    assert outcome.code == 0
    assert "not measured, because the capture does not hold the test recording" in outcome.out
    assert "note: " in outcome.err


def test_an_existing_profile_is_kept_unless_forced(short: Shell) -> None:
    Path("profile.toml").write_text("mine")
    outcome = short("measure", "tone.wav", "-o", "profile.toml")
    assert outcome.code == 2
    assert "--force" in outcome.complaint
    assert Path("profile.toml").read_text() == "mine"
    assert short("measure", "tone.wav", "-o", "profile.toml", "--force").code == 0
    assert Path("profile.toml").read_text().startswith("spec = ")


def test_nothing_to_measure_exits_with_3_and_writes_nothing(shell: Shell) -> None:
    write_recording(Path("short.wav"), Signal(0.1 * np.ones((2, RATE_HZ)), RATE_HZ))
    outcome = shell("measure", "short.wav", "-o", "profile.toml", "--plot", "deck.png")
    assert outcome.code == 3
    assert outcome.complaint.startswith("nothing can be measured: the capture is 1.00 s long")
    assert sorted(path.name for path in Path().iterdir()) == ["short.wav"]


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("-o", "tone.wav", "--force"), "is the input itself"),
        (("--plot", "deck.jpg"), "must end in .png or .svg"),
        (("-o", "x.png", "--plot", "x.png"), "cannot both be"),
        (("-o", "nowhere/profile.toml"), "there is no folder"),
    ],
)
def test_impossible_outputs_are_refused_before_anything_is_measured(
    short: Shell, options: tuple[str, ...], words: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    import tapewright.measurement.measuring as measuring

    monkeypatch.setattr(measuring, "measure", lambda *_: pytest.fail("measured"))
    before = Path("tone.wav").read_bytes()
    outcome = short("measure", "tone.wav", *options)
    assert outcome.code == 2
    assert words in outcome.complaint
    assert Path("tone.wav").read_bytes() == before


def test_a_file_that_is_no_recording_is_refused(shell: Shell) -> None:
    Path("noise.wav").write_bytes(b"no audio")
    outcome = shell("measure", "noise.wav")
    assert outcome.code == 2
    assert "cannot be read as audio" in outcome.complaint


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("value = 0.1", "value = nan", "must be finite numbers, not nan"),
        ("value = 0.1", "value = 0.5", "must lie in its interval 0.05 to 0.2"),
        ("low = 0.05\n", "", "low is missing"),
        ("low = 0.05", "low = -0.05", "must be at least 0"),
        ("version = 1", "version = 7", "version 7 is not 1"),
    ],
)
@pytest.mark.parametrize(
    "command",
    [
        ("degrade", "tone.wav", "-o", "worn.wav"),
        ("compare", "--codec", "sturdy", "--trials", "1"),
    ],
)
def test_a_profile_with_impossible_or_missing_figures_is_no_channel(
    short: Shell, command: tuple[str, ...], old: str, new: str, words: str
) -> None:
    good = (
        'spec = "drift:weighted_percent=0.1"\n[profile]\nversion = 1\n'
        "[figures.flutter_weighted_percent]\nvalue = 0.1\nlow = 0.05\nhigh = 0.2\n"
    )
    Path("p.toml").write_text(good.replace(old, new, 1))
    outcome = short(*command, "--channel", "@p.toml")
    assert outcome.code == 2
    assert outcome.complaint.startswith("profile 'p.toml': ")
    assert words in outcome.complaint
    assert not Path("worn.wav").exists()
