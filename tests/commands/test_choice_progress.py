"""The progress line of a choice: on a terminal it says about how long all of it will take, in a pipe nothing."""

import io
import sys

import pytest
from tapewright.benchmarks.trials import News
from tapewright.benchmarks.verdict import Stage
from tapewright.commands.choice_progress import watching_choice


class Terminal(io.StringIO):
    """What a terminal is sent."""

    def isatty(self) -> bool:
        return True


@pytest.mark.parametrize(
    ("stage", "line"),
    [
        (Stage("72 formats of 3 families"), "72 formats of 3 families"),
        (Stage("race, group", News(3, 40, (), 5.0)), "race, group: 3 of 40 tapes"),
        (Stage("race, group", News(3, 40, (), 5.0), 100.0), "about 2 min to go; race, group: 3 of 40 tapes"),
        (Stage("hiss -31 dB", News(9, 64, (), 1.0), 12.0), "about 20 s to go; hiss -31 dB: 9 of 64 tapes"),
    ],
)
def test_a_terminal_is_told_what_plays_and_about_how_long_all_of_it_takes(
    monkeypatch: pytest.MonkeyPatch, stage: Stage, line: str
) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.setenv("TERM", "xterm")
    terminal = Terminal()
    monkeypatch.setattr(sys, "stderr", terminal)
    with watching_choice() as watch:
        watch(stage)
    assert line in terminal.getvalue()
    assert ("to go" in terminal.getvalue()) is ("to go" in line)


def test_a_pipe_is_told_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    pipe = io.StringIO()
    monkeypatch.setattr(sys, "stderr", pipe)
    with watching_choice() as watch:
        watch(Stage("race, group", News(3, 40, (), 5.0), 100.0))
    assert pipe.getvalue() == ""
