"""``tapewright player``: what it writes, what it refuses, and that nothing half-written stays."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from command_shell import Shell
from tapewright.reports import player_tables

FILES = {"schedule.csv", "tape_tables.h", "tape_tables.c", "tape_player.h", "tape_player.c", "render.c"}


def standing(folder: str) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in Path(folder).iterdir()}


def test_the_folder_holds_schedule_tables_and_player(shell: Shell) -> None:
    outcome = shell("player", "chime", "-o", "out", "--codec", "dual_rail")
    assert outcome.code == 0, outcome.err
    assert outcome.out.startswith(
        "chime: 83.2 s of tape, 2052 stretches, 19836 bytes of tables at 996000 ticks a second"
    )
    assert set(standing("out")) == FILES
    assert Path("out/schedule.csv").read_text().startswith("track,start_s,end_s,tone_hz\nleft,0.000000,2.000000,3000\n")
    assert "dual_rail:tone_hz=3000" in Path("out/tape_tables.c").read_text()
    assert [path.name for path in Path().iterdir()] == ["out"]


def test_json_says_the_same(shell: Shell) -> None:
    told = json.loads(shell("player", "chime", "-o", "out", "--codec", "plain-biphase", "--json").out)
    assert set(told["files"]) == FILES == set(standing("out"))
    assert (told["program"], told["folder"], told["ticks_per_s"]) == ("chime", "out", 998_400)
    assert told["codec_spec"].startswith("contents")


def test_nothing_is_overwritten_unless_asked(shell: Shell) -> None:
    assert shell("player", "chime", "-o", "out").code == 0
    Path("out/notes.txt").write_text("mine")
    before = standing("out")
    refused = shell("player", "chime", "-o", "out", "--codec", "dual_rail")
    assert (refused.code, refused.out) == (2, "")
    assert refused.complaint == "output 'out/schedule.csv' exists; --force overwrites it."
    assert standing("out") == before
    assert shell("player", "chime", "-o", "out", "--codec", "dual_rail", "--force").code == 0
    after = standing("out")
    assert after["notes.txt"] == b"mine"
    assert after["tape_tables.c"] != before["tape_tables.c"]


@pytest.mark.parametrize(
    ("arguments", "code", "said"),
    [
        (("chime", "-o", "out", "--codec", "multicarrier"), 2, "player: 'multicarrier' is neither tone after tone"),
        (
            ("chime", "-o", "out", "--codec", "contents/multicarrier"),
            2,
            "player: 'multicarrier' is neither tone after tone",
        ),
        (
            ("chime", "-o", "out", "--codec", "dual_rial"),
            2,
            "codec: there is no 'dual_rial'. Did you mean 'dual_rail'?",
        ),
        (("missing.hex", "-o", "out"), 2, "program 'missing.hex': there is no such file; check the name"),
        (("chime", "-o", "no/out"), 2, "output 'no/out': there is no folder"),
        (("chime", "-o", "taken"), 2, "output 'taken' is a file; the name of a folder is needed."),
    ],
)
def test_bad_input(shell: Shell, arguments: tuple[str, ...], code: int, said: str) -> None:
    Path("taken").write_text("mine")
    outcome = shell("player", *arguments)
    assert (outcome.code, outcome.out) == (code, "")
    assert outcome.complaint.startswith(said)
    assert {path.name for path in Path().iterdir()} == {"taken"}


@pytest.mark.parametrize("there", [False, True])
def test_a_full_disk_leaves_no_half_folder(shell: Shell, monkeypatch: pytest.MonkeyPatch, there: bool) -> None:
    if there:
        assert shell("player", "chime", "-o", "out").code == 0
    before = standing("out") if there else None

    def full(name: str) -> str:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(player_tables, "player_source", full)
    outcome = shell("player", "chime", "-o", "out", "--codec", "dual_rail", "--force")
    assert outcome.code == 1
    assert (
        outcome.complaint == "output 'out' cannot be written: No space left on device; make room or name another place."
    )
    assert {path.name for path in Path().iterdir()} == ({"out"} if there else set())
    if there:
        assert standing("out") == before
