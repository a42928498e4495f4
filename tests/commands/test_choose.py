"""``tapewright choose``: bad input in one line, exit codes, what arithmetic alone answers."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import pytest
from command_shell import Shell
from tapewright.benchmarks import candidates, choice
from tapewright.benchmarks.candidates import Families
from telegraph import Telegraph

QUICK = ("--channel", "hiss:level_db=-60", "--success-at-least", 0.9, "--tapes", 29, "--bytes", 8)


@pytest.fixture
def telegraph_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    """The quick line code of these tests, and no layers."""
    monkeypatch.setattr(choice, "families", lambda: Families({"telegraph": Telegraph()}, {}))
    monkeypatch.setattr(candidates, "schemes", lambda: ((),))


@pytest.mark.parametrize(
    ("arguments", "code", "words"),
    [
        (("--decoder", "robot"), 2, "relays, microcontroller, computer"),
        (("--success-at-least", 1), 2, "no number of tapes shows"),
        (("--tapes", 10), 2, "--tapes 299 or more"),
        (("--bytes", 10, "--program", "chime"), 2, "leave one of"),
        (("--bytes", 0), 2, "must be 1 to"),
        (("--relays-at-most", 40), 2, "set 'decoder' to relays"),
        (("--limits", "none.toml"), 2, "limits 'none.toml': there is no such file; check the name."),
        (("--channel", "wornn"), 2, "Did you mean 'worn'"),
        (("--seed", -1), 2, "'seed' must be 0 to"),
        (("--seed", 2**63), 2, "'seed' must be 0 to"),
        (("--workers", 0), 2, "'workers' must be 1 to"),
        (("--set", "signal_24v"), 2, "'relay_set' is of a relay decoder"),
        (("--table", "clock_tower", "--decoder", "microcontroller"), 2, "'table' is of a relay decoder"),
    ],
)
def test_bad_input_is_one_line_that_says_what_to_do(shell: Shell, arguments, code: int, words: str) -> None:
    said = shell("choose", *arguments)
    assert said.code == code
    assert words in said.complaint
    assert said.out == ""


@pytest.mark.usefixtures("telegraph_alone")
def test_the_answer_as_table_and_as_json(shell: Shell, tmp_path: Path) -> None:
    said = shell("choose", *QUICK)
    assert said.code == 0
    assert said.out.startswith("Put on the tape: telegraph\n")
    assert "29 of 29 fresh tapes" in said.out
    told = json.loads(shell("choose", *QUICK, "--json").out)
    assert told["rows"][0]["right"] == told["shown"][0]["right"] == 29
    assert told["rows"][0]["seed"] != told["seed"]


@pytest.mark.usefixtures("telegraph_alone")
def test_nothing_within_the_limits_exits_3_with_the_nearest_miss(shell: Shell) -> None:
    said = shell("choose", *QUICK, "--load-time-at-most", 0.01)
    assert said.code == 3
    assert "relax load_time_at_most_s to 0.112" in said.complaint


@pytest.mark.usefixtures("telegraph_alone")
@pytest.mark.parametrize("asked", [0, 1e-15])
def test_a_silent_limit_that_nothing_meets_is_named_as_the_one_to_relax(shell: Shell, asked: float) -> None:
    said = shell("choose", *QUICK, "--silent-at-most", asked)
    assert said.code == 3
    assert "relax silent_at_most to 0.098" in said.complaint


@pytest.mark.usefixtures("telegraph_alone")
def test_the_command_line_wins_over_the_file(shell: Shell, tmp_path: Path) -> None:
    (tmp_path / "wanted.toml").write_text("load_time_at_most_s = 0.01\n")
    assert shell("choose", *QUICK, "--limits", "wanted.toml").code == 3
    assert shell("choose", *QUICK, "--limits", "wanted.toml", "--load-time-at-most", 5).code == 0


@pytest.mark.usefixtures("telegraph_alone")
def test_a_folder_that_holds_something_is_refused_before_any_work(shell: Shell, tmp_path: Path) -> None:
    (tmp_path / "next").mkdir()
    (tmp_path / "next" / "recording.wav").write_bytes(b"mine")
    said = shell("choose", *QUICK, "--then", "next")
    assert said.code == 2
    assert "--force" in said.complaint
    assert (tmp_path / "next" / "recording.wav").read_bytes() == b"mine"


@pytest.mark.usefixtures("telegraph_alone")
def test_a_folder_whose_report_cannot_be_made_is_refused_before_any_work(
    shell: Shell, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "plotly.offline", None)
    said = shell("choose", *QUICK, "--then", "next")
    assert said.code == 1
    assert said.complaint == "a report needs plotly; pip install 'tapewright[report]' brings it."
    assert said.out == ""
    assert not (tmp_path / "next").exists()
