"""``tapewright choose``: bad input in one line, exit codes, what arithmetic alone answers."""

from __future__ import annotations

import json
import sys
from importlib import resources
from pathlib import Path

import pytest
from command_shell import Shell
from tapewright.benchmarks import candidates, choice, limits
from tapewright.benchmarks.candidates import Candidate, Families
from tapewright.benchmarks.course import Course
from tapewright.benchmarks.final import Final
from tapewright.benchmarks.limits import Limits
from tapewright.benchmarks.study_file import read_study_file
from tapewright.benchmarks.tally import Tally
from tapewright.benchmarks.verdict import Choice, Finalist
from tapewright.commands import choice_folder
from tapewright.contracts import registry
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
def test_a_program_that_no_side_holds_is_to_be_split(shell: Shell, monkeypatch: pytest.MonkeyPatch) -> None:
    """1 MiB at 5,512 bits a second plays 25 minutes: more than a side of a C46 (23), less than one of a C60 (30)."""
    said = shell("choose", *QUICK[:-2], "--bytes", 1 << 20, "--side", "C46")
    assert said.code == 3
    assert "plays 25.4 min > 23 min, a side of a C46; relax side to C60" in said.complaint
    monkeypatch.setitem(limits.SIDES, "C60", 20)
    for side in ("C90", "C120"):
        monkeypatch.setitem(limits.SIDES, side, 20)
    said = shell("choose", *QUICK[:-2], "--bytes", 1 << 20)
    assert said.code == 3
    assert "no cassette has a longer side: split the program over several sides" in said.complaint


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
def test_the_folder_holds_what_plays_what_repeats_and_what_tells(
    shell: Shell, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The report is left out: its tests are its own, and its tapes would take most of the time."""
    told: list[dict[str, object]] = []
    monkeypatch.setattr(choice_folder, "_write_report", lambda choice, source, record, part: told.append(record))
    monkeypatch.setattr(choice_folder, "REPORT", "label.txt")
    assert shell("choose", *QUICK, "--then", "next").code == 0
    folder = tmp_path / "next"
    assert {path.name for path in folder.iterdir()} == {
        "recording.wav", "label.txt", "choice.json", "program.bin", "study.toml"
    }  # fmt: skip
    answer = json.loads((folder / "choice.json").read_text())
    assert answer == told[0]
    assert shell("decode", "next/recording.wav", "-o", "out.bin").code == 0
    assert (tmp_path / "out.bin").read_bytes() == (folder / "program.bin").read_bytes()
    repeated = json.loads(shell("study", "run", "next/study.toml", "--json").out)
    for figure in ("trials", "right", "seed"):
        assert repeated[0][figure] == answer["rows"][0][figure]


def test_the_study_of_relays_that_are_files_finds_copies_of_them(tmp_path: Path) -> None:
    ours = resources.files("tapewright") / "receivers/relays/sets/graded_12v.toml"
    (tmp_path / "ours.toml").write_bytes(ours.read_bytes())
    codec = registry.codec("clocked")
    asked = Limits(channel="wire", decoder="relays", relay_set=str(tmp_path / "ours.toml"))
    course = Course(b"ab", "two", "wire", asked.receiver, 1)
    finalist = Finalist(Candidate(codec, 3.0, 90), Final(29, 0, 0.95), Tally(trials=29, right=29), True, 1)
    chosen = Choice(asked, course, (finalist,), (), (), (), None, 29, (1, 1))
    (tmp_path / "program.bin").write_bytes(b"ab")
    (tmp_path / "study.toml").write_text(choice_folder._study(chosen))
    (tmp_path / "relay_set.toml").write_bytes(ours.read_bytes())
    (study,) = read_study_file(tmp_path / "study.toml").studies
    (task,) = study.tasks()
    assert task.codec == codec
    assert task.receiver.files()[0].content == registry.receiver("relays:set=graded_12v").files()[0].content
    assert (study.trials, study.seed) == (29, course.seed_of("final", 1))


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
