"""The line that says what runs, how long it has and how long it will."""

import re

import pytest
from tapewright.commands import progress
from tapewright.commands.progress import LONG_TAPE_S, PATIENCE_S, Steps, working
from terminal import run_in_a_terminal


def test_the_time_to_go_follows_the_steps_done():
    steps = Steps()
    assert steps.line("measuring", 3.0) == "measuring: 3 s"
    steps(1, 4)
    assert steps.line("measuring", 3.0) == "measuring: 3 s, 1 of 4, 9 s to go"
    steps(4, 4)
    assert steps.line("measuring", 75.0) == "measuring: 1 min 15 s, 4 of 4"


def test_no_time_is_named_before_a_step_is_done():
    steps = Steps()
    steps(0, 12)
    assert steps.line("through the tape", 2.0) == "through the tape: 2 s, 0 of 12"


def test_many_steps_are_told_as_a_share():
    steps = Steps()
    steps(250, 1000)
    assert steps.line("reading", 3.0) == "reading: 3 s, 25 %, 9 s to go"
    steps(1000, 1000)
    assert steps.line("reading", 12.0) == "reading: 12 s, 100 %"


def test_a_rehearsal_tells_how_long_work_without_steps_will_take(monkeypatch):
    now_s, shares = [100.0], []
    monkeypatch.setattr(progress, "monotonic", lambda: now_s[0])
    steps = Steps()

    def work(share):
        shares.append(share)
        now_s[0] += 80.0 * share if len(shares) > 1 else 1.0  # the first time something is loaded

    steps.rehearse(LONG_TAPE_S, work)
    assert shares == [1 / 400, 1 / 40]
    assert steps.line("decoding", steps.elapsed_s()) == "decoding: 3 s, about 1 min 20 s to go"
    assert steps.line("decoding", 80.0) == "decoding: 1 min 20 s, about 3 s to go"
    assert steps.line("decoding", 90.0) == "decoding: 1 min 30 s"  # it was wrong


def test_short_tapes_and_work_that_nobody_watches_are_not_rehearsed():
    Steps().rehearse(LONG_TAPE_S - 1, pytest.fail)
    Steps(is_seen=False).rehearse(LONG_TAPE_S, pytest.fail)


def test_nothing_is_said_where_nobody_watches(capfd):
    with working("measuring") as watch:
        watch(1, 2)
        watch.rehearse(LONG_TAPE_S, pytest.fail)
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
