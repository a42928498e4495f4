"""``tapewright timing``: what it says, draws and refuses."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from command_shell import Shell

UNSETTLED = """
title = "Writes in the step that first drives (invented)"
steps = 12
bit_steps = [1, 2, 3, 4, 5, 6, 7, 8]
address_bits = 8

[[line]]
name = "address"
action = "drive"
bus = "address"
steps = [9, 10, 11]

[[line]]
name = "data"
action = "drive"
bus = "data"
steps = [9, 10, 11]

[[line]]
name = "write"
action = "write"
when = "clock"
steps = [10]
uses = ["address", "data"]

[[line]]
name = "count"
action = "count"
when = "clock"
steps = [12]

[[line]]
name = "clear"
action = "clear"
when = "clock"
steps = [12]
"""


def test_json_holds_every_margin_and_the_picture_is_drawn(shell: Shell) -> None:
    outcome = shell("timing", "--set", "graded_12v", "--json", "--plot", "lines.svg")
    assert outcome.code == 0, outcome.err
    told = json.loads(outcome.out)
    assert told["closes"] is True
    assert told["hazards"] == []
    assert told["shortest_step_ms"] < told["step_ms"] == 60
    margins = [margin["margin_ms"] for margin in told["margins"]]
    assert margins == sorted(margins)
    assert all(
        margin["margin_ms"] == pytest.approx(margin["have_ms"] - margin["need_ms"], abs=2e-4)
        for margin in told["margins"]
    )
    # Every step must be advanced to and armed, every bit latched: a path that is left out cannot be seen to fail.
    places = {(margin["path"], margin["where"]) for margin in told["margins"]}
    assert {("advance", f"step {step}") for step in range(1, 13)} <= places
    assert {("arm", f"after step {step}") for step in range(1, 13)} <= places
    assert {("latch", f"bit {bit}") for bit in range(1, 9)} <= places
    assert told["limiting"]["corner"]
    assert Path("lines.svg").read_text().startswith("<?xml")


def test_too_short_a_step_exits_with_3_and_says_which_path(shell: Shell) -> None:
    outcome = shell("timing", "--codec", "clocked:step_ms=45,lead_ms=7.5,edge_ms=1.5", "--table", "clock_tower")
    assert outcome.code == 3
    assert outcome.complaint.startswith("A step of 45 ms does NOT close (table clock_tower, set signal_12v): ")
    assert " lacks " in outcome.complaint
    assert "<- does not close" in outcome.out
    assert "Shortest step that closes in the worst corner: " in outcome.out


def test_a_hazard_exits_with_3_though_the_step_closes(shell: Shell) -> None:
    Path("mine.toml").write_text(UNSETTLED)
    outcome = shell("timing", "--table", "mine.toml", "--set", "graded_12v")
    assert outcome.code == 3
    assert "but there are hazards" in outcome.complaint
    assert "no settle step between driving 'data' and its use by 'write'" in outcome.out


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--table", "clock_towel"), "relays: there is no 'clock_towel' among the tables. Did you mean 'clock_tower'?"),
        (
            ("--set", "sygnal"),
            "relays: there is no 'sygnal' among the sets. Did you mean 'signal_12v'?",
        ),
        (("--set", "none.toml"), "relays: set 'none.toml': there is no such file; check the name."),
        (
            ("--set", "signal_12"),
            "relays: there is no 'signal_12' among the sets. Did you mean 'signal_12v'? There are",
        ),
        (("--table", "broken.toml"), "broken.toml is not TOML: "),
        (("--table", "short.toml"), "short.toml, line 2: 'bit_steps' "),
        (("--codec", "sturdy"), "relays: 'contents' needs a microcontroller; relays alone cannot decode it."),
        (("--codec", "clocked:extra_steps=5"), "relays: table 'clock_tower' has 12 steps a byte with 8 bits, and "),
        (("--plot", "lines.gif"), "picture 'lines.gif' must end in .png or .svg."),
        (("--plot", "there.png"), "output 'there.png' exists; --force overwrites it."),
        (("--plot", "no/lines.png"), "output 'no/lines.png': there is no folder"),
    ],
)
def test_bad_input_is_refused_before_anything_is_worked_out(
    shell: Shell, arguments: tuple[str, ...], said: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    import tapewright.receivers.relays.timing_record as timing_record

    monkeypatch.setattr(timing_record, "timing_record", lambda *_: pytest.fail("worked out"))
    Path("there.png").write_bytes(b"mine")
    Path("broken.toml").write_text("title = ")
    Path("short.toml").write_text('steps = 4\nbit_steps = [1, 2]\ntitle = "x"\naddress_bits = 8\n')
    before = {path.name: path.read_bytes() for path in Path().iterdir()}
    outcome = shell("timing", *arguments)
    assert (outcome.code, outcome.out) == (2, "")
    assert outcome.complaint.startswith(said)
    assert {path.name: path.read_bytes() for path in Path().iterdir()} == before


def test_help_has_an_example_and_the_defaults(shell: Shell) -> None:
    outcome = shell("timing", "--help")
    assert outcome.code == 0
    for words in ("Example: tapewright timing", "[default: clock_tower]", "[default: signal_12v]", "Exits with 3"):
        assert words in " ".join(outcome.out.split())
