"""The line that says what runs, how long it has and how long it will."""

import re

import pytest
from tapewright.commands.progress import PATIENCE_S, Steps, working
from terminal import run_in_a_terminal


def test_the_time_to_go_follows_the_steps_done():
    steps = Steps()
    assert steps.line("measuring", 3.0) == "measuring: 3 s"
    steps.done(1, 4)
    assert steps.line("measuring", 3.0) == "measuring: 3 s, 1 of 4, 9 s to go"
    steps.done(4, 4)
    assert steps.line("measuring", 75.0) == "measuring: 1 min 15 s, 4 of 4"


def test_no_time_is_named_before_a_step_is_done():
    steps = Steps()
    steps.done(0, 12)
    assert steps.line("through the tape", 2.0) == "through the tape: 2 s, 0 of 12"


def test_nothing_is_said_where_nobody_watches(capfd):
    with working("measuring") as watch:
        watch(1, 2)
    assert capfd.readouterr() == ("", "")


@pytest.mark.parametrize("columns", [20, 80])
def test_work_that_takes_long_is_told_in_a_terminal(columns, tmp_path):
    """A model that takes its time: the steps are seen, and the cursor is given back."""
    made = ("encode", "chime", "-o", "tape.wav", "--codec", "toy_pulse:frames=100")
    assert run_in_a_terminal(*made, columns=80, cwd=tmp_path)[0] == 0
    call = ("degrade", "tape.wav", "-o", "worn.wav", "--channel", f"toy_flips/toy_slow:wait_s={PATIENCE_S + 0.6}")
    code, sent = run_in_a_terminal(*call, columns=columns, cwd=tmp_path, NO_COLOR="1")
    assert code == 0, sent
    assert "through the tape" in sent
    assert sent.count("\x1b[?25l") == sent.count("\x1b[?25h") > 0
    lines = re.sub(r"\x1b\[[0-9;?]*[a-zA-Z]", "\n", sent[: sent.index("worn.wav:")]).replace("\r", "\n")
    assert max(map(len, lines.splitlines())) <= columns
