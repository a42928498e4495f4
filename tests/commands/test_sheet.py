"""``tapewright sheet``: the page it writes, what it refuses, and that nothing half-written stays."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path

import pytest
from command_shell import Shell
from tapewright.receivers.relays import build_record as hardware
from tapewright.reports import build_sheet as page

BUILT = cache(hardware.build_record)
"""Timing takes seconds, and what the command does with it is tested here."""

MACHINE = ("--codec", "plain-clocked", "--receiver", "relays:set=graded_12v", "--channel", "ordinary-played")


@pytest.fixture
def sheets(shell: Shell, monkeypatch: pytest.MonkeyPatch) -> Shell:
    """A shell in a folder that holds a short program, ``bell.bin``."""
    monkeypatch.setattr(hardware, "build_record", BUILT)
    Path("bell.bin").write_bytes(b"DO")
    return shell


def standing() -> dict[str, bytes]:
    return {str(path): path.read_bytes() for path in Path().rglob("*") if path.is_file()}


def test_the_folder_holds_one_page_and_the_answer_says_what_is_in_it(sheets: Shell) -> None:
    outcome = sheets("sheet", *MACHINE, "-o", "out", "--program", "bell.bin", "--trials", 2)
    assert outcome.code == 0, outcome.err
    assert set(standing()) == {"bell.bin", "out/sheet.html"}
    assert outcome.out.startswith("bell.bin: ")
    assert "out/sheet.html" in outcome.out
    written = Path("out/sheet.html").read_text(encoding="utf-8")
    assert written.startswith("<!DOCTYPE html>")
    assert written.rstrip().endswith("</html>")
    assert "clocked:tone_hz=3000" in written


def test_same_seed_same_page_and_another_is_kept_unless_forced(sheets: Shell) -> None:
    arguments = ("sheet", *MACHINE, "-o", "out", "--program", "bell.bin", "--trials", 2, "--seed", 7)
    told = json.loads(sheets(*arguments, "--json").out)
    assert (told["load"]["trials"], told["seed"]) == (2, 7)
    assert told["load"]["right"] + told["load"]["detected"] + told["load"]["silent"] == 2
    before = standing()
    refused = sheets(*arguments)
    assert (refused.code, refused.out) == (2, "")
    assert refused.complaint == "output 'out/sheet.html' exists; --force overwrites it."
    assert standing() == before
    assert sheets(*arguments, "--force").code == 0
    assert standing() == before


def test_a_step_that_does_not_close_is_written_and_exits_with_3(sheets: Shell, monkeypatch: pytest.MonkeyPatch) -> None:
    def never(*arguments: object) -> dict[str, object]:
        built = BUILT(*arguments)
        worst = {**built["timing"]["margins"][0], "margin_ms": -2.5, "closes": False}
        timed = {**built["timing"], "closes": False, "shortest_step_ms": None, "margins": [worst]}
        return {**built, "timing": timed}

    monkeypatch.setattr(hardware, "build_record", never)
    outcome = sheets("sheet", *MACHINE, "-o", "out", "--program", "bell.bin", "--trials", 1)
    assert outcome.code == 3
    assert outcome.complaint.startswith("A step of 60 ms does NOT close ")
    assert "Do not build this as it is." in Path("out/sheet.html").read_text(encoding="utf-8")


@pytest.mark.parametrize("there", [False, True])
def test_a_full_disk_leaves_no_half_sheet(sheets: Shell, monkeypatch: pytest.MonkeyPatch, there: bool) -> None:
    if there:
        Path("out").mkdir()
        Path("out/sheet.html").write_text("mine")
    before = standing()

    def full(record: object) -> str:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(page, "build_sheet", full)
    outcome = sheets("sheet", *MACHINE, "-o", "out", "--program", "bell.bin", "--trials", 1, "--force")
    assert outcome.code == 1
    assert (
        outcome.complaint == "output 'out' cannot be written: No space left on device; make room or name another place."
    )
    assert standing() == before
    assert Path("out").exists() == there


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        (
            {"--receiver": "relays:set=sygnal"},
            "relays: there is no 'sygnal' among the sets. Did you mean 'signal_12v'?",
        ),
        (
            {"--receiver": "relays:table=towel"},
            "relays: there is no 'towel' among the tables. Did you mean 'clock_tower'?",
        ),
        ({"--receiver": "sound"}, "sheet: receiver 'sound' is not a relay machine; 'relays' is."),
        ({"--codec": "sturdy"}, "relays: 'contents' needs a microcontroller; relays alone cannot decode it."),
        ({"--codec": "clocked:tone_hz=12000"}, "relays: a tone of 12000 Hz is too high for the rectifier and coil of "),
        ({"--channel": "nowhere"}, "channel: "),
        ({"--program": "none.hex"}, "program 'none.hex': there is no such file; check the name"),
        ({"--program": "long.bin"}, "clock_tower: a program of 257 bytes from address 0 does not fit 8 address bits"),
        ({"--trials": "0"}, "Argument 'trials' must be 1 to 1000000, not 0."),
        ({"-o": "taken"}, "output 'taken' is a file; the name of a folder is needed."),
        ({"-o": "no/out"}, "output 'no/out': there is no folder"),
        ({"-o": "full"}, "output 'full/sheet.html' exists; --force overwrites it."),
    ],
)
def test_bad_input_is_refused_before_any_tape_is_played(
    sheets: Shell, changed: dict[str, str], said: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    from tapewright.benchmarks import trials

    monkeypatch.setattr(trials, "run", lambda *_, **__: pytest.fail("played"))
    Path("taken").write_text("mine")
    Path("full").mkdir()
    Path("full/sheet.html").write_text("mine")
    Path("long.bin").write_bytes(bytes(257))
    before = standing()
    asked = {**dict(zip(MACHINE[::2], MACHINE[1::2], strict=True)), "-o": "out", "--program": "bell.bin", **changed}
    outcome = sheets("sheet", *(word for pair in asked.items() for word in pair))
    assert (outcome.code, outcome.out) == (2, "")
    assert outcome.complaint.startswith(said)
    assert standing() == before


def test_help_has_an_example_and_the_defaults(shell: Shell) -> None:
    outcome = shell("sheet", "--help")
    assert outcome.code == 0
    for words in ("Example: tapewright sheet", "[default: chime]", "[default: 40]", "Exits with 3"):
        assert words in " ".join(outcome.out.split())
