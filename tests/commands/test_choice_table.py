"""The answer of a choice on a screen: nothing wider than the terminal, no colour if asked, plain text in a pipe."""

import io
import re
import sys

import pytest
from tapewright.benchmarks.assumptions import Assumption
from tapewright.benchmarks.candidates import Candidate
from tapewright.benchmarks.course import Course
from tapewright.benchmarks.figures import figures
from tapewright.benchmarks.final import Final
from tapewright.benchmarks.limits import Limits
from tapewright.benchmarks.refusals import Refusal
from tapewright.benchmarks.tally import Tally
from tapewright.benchmarks.verdict import Choice, Finalist, Miss, Rejected
from tapewright.commands.choice_table import print_choice
from tapewright.contracts import registry

DENSE = "contents/rs:parity_bytes=16/multicarrier:bits_per_carrier=1,treble_hz=2127,low_hz=152.5,high_hz=3900"


class Terminal(io.StringIO):
    """What a terminal is sent."""

    def isatty(self) -> bool:
        return True


def candidate(stack: str) -> Candidate:
    codec = registry.codec(stack)
    return Candidate(codec, codec.duration_s(128), None)


def choice(found: bool) -> Choice:
    """Invented figures."""
    course = Course(bytes(128), "chime", "worn", "sound", 1)
    group, dense = candidate("contents/group:bit_rate_hz=6800"), candidate(DENSE)
    shown = (
        Finalist(group, Final(636, 1, 0.9875), Tally(trials=636, right=636), True, 3),
        Finalist(dense, Final(473, 1, 0.95), Tally(trials=473, right=472), True, 4),
    )
    first, second, *others = figures(course)
    turned = (
        Assumption(first, 2.0, 3.0, 2.0, Tally(trials=64, right=48), dense),
        Assumption(second, 2.0, 3.0, 2.0, Tally(trials=64, right=48), None),
        *(Assumption(one, 4 * one.value, None, None, Tally(trials=64, right=64), None, 0.1, dense) for one in others),
    )
    rejected = (Rejected("clocked", "success_at_least", "failed 1 of 8 tapes, the sturdiest that raced (98.1 s)"),)
    if found:
        return Choice(Limits(), course, shown, shown[1:], rejected, turned, None, 8260, (15494, 284))
    miss = Miss(dense, Refusal("success_at_least", "failed 11 of 159 tapes", 0.07, 0.888), shown[1])
    return Choice(Limits(), course, (), shown, rejected, (), miss, 8260, (15494, 284))


@pytest.mark.parametrize("columns", [40, 80, 120])
@pytest.mark.parametrize("found", [True, False])
def test_no_line_is_wider_than_the_terminal(monkeypatch: pytest.MonkeyPatch, columns: int, found: bool) -> None:
    for name, value in (("COLUMNS", str(columns)), ("NO_COLOR", "1"), ("TERM", "xterm-256color")):
        monkeypatch.setenv(name, value)
    terminal = Terminal()
    monkeypatch.setattr(sys, "stdout", terminal)
    print_choice(choice(found))
    sent = terminal.getvalue()
    assert not re.search(r"\x1b\[[0-9;]*(3[0-7]|38;)[0-9;]*m", sent)
    page = re.sub(r"\x1b\[[0-9;?]*[a-zA-Z]", "", sent)
    assert max(map(len, page.splitlines())) <= columns
    told = " ".join(page.split())
    assert "8,260 tapes played" in told
    assert ("then the first runner-up" in told) is found
    assert ("no runner-up holds" in told) is found


def test_a_pipe_gets_plain_text_of_full_width(monkeypatch: pytest.MonkeyPatch) -> None:
    pipe = io.StringIO()
    monkeypatch.setattr(sys, "stdout", pipe)
    print_choice(choice(True))
    assert "\x1b" not in pipe.getvalue()
    assert any(DENSE in line for line in pipe.getvalue().splitlines())
    assert pipe.getvalue().startswith("Put on the tape: contents/group:bit_rate_hz=6800\n")
