"""``tapewright study`` from the outside."""

import csv
import io
import json
import re
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from command_runs import TOYS, environment, interruptible
from command_shell import Outcome, Shell
from tapewright.commands import main
from tapewright.contracts import registry

STUDY = """
[study]
codecs = ["toy_pulse", "toy-checked"]
channels = ["toy_flips:rate=0.001,blank=0.05"]
trials = {trials}

[[sweep]]
codec = "toy_pulse"
over = {{ "toy_pulse.frames" = [2, 3] }}
"""


@pytest.fixture
def study(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]) -> Iterator[Shell]:
    """Run ``tapewright study`` with these arguments in this process, the toys installed."""
    monkeypatch.syspath_prepend(str(TOYS))
    monkeypatch.chdir(tmp_path)
    registry.installed.cache_clear()

    def run(*arguments: str, command: str = "study") -> Outcome:
        monkeypatch.setattr(sys, "argv", ["tapewright", command, *arguments])
        capfd.readouterr()
        with pytest.raises(SystemExit) as leaving:
            main()
        said = capfd.readouterr()
        return Outcome(leaving.value.code, said.out, said.err)

    yield run
    registry.installed.cache_clear()


@pytest.fixture
def bells(tmp_path: Path) -> Path:
    (tmp_path / "bells.toml").write_text(STUDY.format(trials=20))
    return tmp_path


@pytest.fixture
def played(study: Shell, bells: Path) -> Path:
    assert study("run", "bells.toml").code == 0
    return bells


def test_run_gives_the_table_of_a_comparison_and_keeps_it(study, bells) -> None:
    ran = study("run", "@bells.toml")
    assert (ran.code, ran.err) == (0, "kept in bells.study\n")
    specs = ("toy_pulse", "toy-checked", "toy_pulse:frames=2", "toy_pulse:frames=3")
    asked = [word for spec in specs for word in ("--codec", spec)]
    channel = ("--channel", "toy_flips:rate=0.001,blank=0.05")
    compared = study(*asked, *channel, "--trials", "20", command="compare")
    assert ran.out == compared.out
    assert (bells / "bells.study").exists()
    again = study("run", "bells.toml")
    assert (again.code, again.out) == (0, ran.out)


def test_status_says_how_far_it_is(study, played) -> None:
    for name in ("bells.toml", "@bells.toml", "bells.study"):
        ran = study("status", name)
        assert (ran.code, ran.err) == (0, "")
        assert ran.out.endswith("\n80 of 80 trials are done.\n")
    (played / "bells.toml").write_text(STUDY.format(trials=50))
    assert study("run", "bells.toml", "--share", "1/2").code == 0
    told = json.loads(study("status", "bells.toml", "--json").out)
    assert [(row["done"], row["trials"]) for row in told] == [(25, 50)] * 4
    assert all(row["right"] + row["detected"] + row["silent"] == 25 for row in told)


def test_rows_that_do_not_show_the_trials_asked_for_are_told(study, bells, monkeypatch) -> None:
    monkeypatch.setattr("tapewright.benchmarks.ledger.WRITTEN_EVERY_S", 1e9)
    told = "4 of 4 rows do not show as many trials as were asked for; the first: "
    ran = study("run", "bells.toml", "--share", "1/2")
    assert f"\n{told}10 of 20 trials ran so far.\n" in ran.out
    (bells / "bells.toml").write_text(STUDY.format(trials=117))
    assert "as were asked for" not in study("run", "bells.toml").out
    (bells / "bells.toml").write_text(STUDY.format(trials=115))
    assert f"\n{told}117 trials held, 115 asked.\n" in study("run", "bells.toml").out
    assert study("status", "bells.toml").out.endswith(
        "\n460 of 460 trials are done.\n8 beyond those asked for were counted together with them and are shown too.\n"
    )


def test_status_while_it_runs_and_a_second_run_is_told(study, bells) -> None:
    started = bells / "started"
    (bells / "bells.toml").write_text(
        STUDY.format(trials=2000).replace("blank=0.05", "blank=0.05/toy_slow:wait_s=0.05")
    )
    with subprocess.Popen(
        [sys.executable, "-m", "tapewright", "study", "run", "bells.toml"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        cwd=bells,
        env=environment(TOYS_STARTED=str(started)),
        preexec_fn=interruptible,
    ) as running:
        begun = time.monotonic()
        while not started.exists() and time.monotonic() - begun < 60:
            time.sleep(0.02)
        second = study("run", "bells.toml")
        assert (second.code, second.out) == (1, "")
        assert second.err == (
            "tapewright: error: study store 'bells.study' is being written by another run; wait for it or stop it.\n"
        )
        status = study("status", "bells.toml")
        assert (status.code, status.err) == (0, "")
        assert " of 8000 trials are done." in status.out
        while study("status", "bells.toml").out.splitlines()[-1].startswith("0 ") and time.monotonic() - begun < 60:
            time.sleep(0.1)
        running.send_signal(signal.SIGINT)
        said, complained = running.communicate(timeout=50)
    assert (running.returncode, said, complained) == (130, "", "tapewright: interrupted.\n")
    after = json.loads(study("status", "bells.toml", "--json").out)
    assert sum(row["done"] for row in after) > 0


def test_export_gives_the_records_in_both_forms(study, played) -> None:
    as_json = study("export", "bells.toml", "--json")
    rows = json.loads(as_json.out)
    assert study("run", "bells.toml", "--json").out == as_json.out
    as_csv = study("export", "bells.toml")
    lines = list(csv.DictReader(io.StringIO(as_csv.out)))
    assert [line["codec"] for line in lines] == [row["codec"] for row in rows]
    assert [int(line["right"]) for line in lines] == [row["right"] for row in rows]
    assert [float(line["load_success.low"]) for line in lines] == [row["load_success"]["low"] for row in rows]
    assert {line["on_frontier"] for line in lines} <= {"true", "false"}
    for name, text in (("bells.json", as_json.out), ("bells.csv", as_csv.out)):
        assert study("export", "bells.study", "-o", name).code == 0
        assert (played / name).read_bytes().decode().replace("\r\n", "\n") == text.replace("\r\n", "\n")
        refused = study("export", "bells.study", "-o", name)
        assert (refused.code, "--force overwrites it" in refused.err) == (2, True)
    assert study("export", "bells.study", "-o", "bells.csv", "--force").code == 0


def test_shares_from_elsewhere_merge_into_the_whole(study, played) -> None:
    for share in ("1/2", "2/2"):
        name = f"part{share[0]}.study"
        assert study("run", "bells.toml", "-o", name, "--share", share).code == 0
    ran = study("merge", "part1.study", "part2.study", "-o", "whole.study")
    assert (ran.code, ran.out, ran.err) == (0, "", "80 tapes of 2 stores added to whole.study\n")
    whole, alone = (study("export", f"{name}.study").out for name in ("whole", "bells"))
    assert whole == alone
    twice = study("merge", "part1.study", "-o", "whole.study")
    assert (twice.code, twice.out) == (1, "")
    assert "'part1.study' and 'whole.study' both hold the trials 0 to 9 of" in twice.err
    assert study("export", "whole.study").out == alone


@pytest.mark.parametrize("name", ["whole.db", "bells.v2", "whole"])
def test_a_store_of_any_name_is_shown_as_what_it_is(name, study, played) -> None:
    (played / "short.toml").write_text(STUDY.format(trials=4))
    assert study("run", "short.toml", "-o", name).code == 0
    for command in (("status", "--json"), ("export", "--json")):
        told = json.loads(study(command[0], name, command[1]).out)
        assert {row["trials"] for row in told} == {4}
    assert study("merge", name, "-o", "more.study").code == 0


def test_several_programs_get_a_table_each(study, bells) -> None:
    (bells / "bells.toml").write_text(STUDY.format(trials=3).replace("[study]", "[study]\nbytes = [9, 10]"))
    ran = study("run", "bells.toml")
    assert ran.code == 0
    assert len(re.findall("^toy-checked  *toy_flips", ran.out, re.MULTILINE)) == 2
    assert "9 invented bytes, seed 1:\n" in ran.out
    assert "\n10 invented bytes, seed 1:\n" in ran.out


def test_scouts_are_offered(study, bells) -> None:
    ran = study("run", "bells.toml", "--until", "0.9", "--json")
    assert ran.code == 0
    assert all("fixed on other tapes, to tell the row from 90 %" in row["stop"] for row in json.loads(ran.out))
    assert max(row["trials"] for row in json.loads(ran.out)) > 20


def test_a_row_without_a_tape_yet_says_so(study, bells) -> None:
    (bells / "bells.toml").write_text(STUDY.format(trials=1))
    ran = study("run", "bells.toml", "--share", "1/2")
    assert ran.code == 0
    assert ran.out.count("none yet") == 4
    assert "refused" not in ran.out


@pytest.mark.parametrize(
    ("arguments", "code", "told"),
    [
        (("run", "nowhere.toml"), 2, "study 'nowhere.toml': there is no such file; check the name."),
        (("run", "bells.toml", "--share", "3/2"), 2, "A share must be such as 2/4"),
        (("run", "bells.toml", "--until", "2"), 2, "'until' must lie between 0 and 1"),
        (("run", "bells.toml", "--engine", "smoke"), 2, "There are: threads, processes, dask."),
        (("run", "bells.toml", "-o", "nowhere/bells.study"), 2, "there is no folder"),
        (("status", "bells.toml"), 2, "there is no such file; 'tapewright study run' makes it from the study file."),
        (("status", "@"), 2, "study: the name of a file is needed, such as bells.toml."),
        (("run", "bell.toml"), 2, "study 'bell.toml': there is no such file. Did you mean 'bells.toml'?"),
        (("export", "bells.toml", "-o", "bells.txt"), 2, "must end in .csv or .json"),
        (("merge", "bells.study", "-o", "whole.study"), 2, "there is no such file"),
        (("status", "bells.bin"), 2, "there is no such file"),
    ],
)
def test_a_wrong_call_is_one_line_and_leaves_nothing(arguments, code, told, study, bells) -> None:
    ran = study(*arguments)
    assert (ran.code, ran.out) == (code, "")
    assert ran.err.startswith("tapewright: error: ")
    assert ran.err.count("\n") == 1
    assert told in ran.err
    assert [path.name for path in bells.iterdir()] == ["bells.toml"]


@pytest.mark.parametrize("command", ["run", "status", "export"])
@pytest.mark.parametrize("spoilt", ["foreign", "text", "newer", "cut"])
def test_a_store_that_is_none_is_one_line_and_left_alone(command, spoilt, study, played) -> None:
    path = played / "bells.study"
    if spoilt == "cut":
        path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])
    elif spoilt == "text":
        path.write_text("bells\n" * 1000)
    elif spoilt == "newer":
        with sqlite3.connect(path) as file:
            file.execute("PRAGMA user_version = 99")
        file.close()
    else:
        path.unlink()
        with sqlite3.connect(path) as file:
            file.execute("CREATE TABLE mine (x)")
        file.close()
    before = path.read_bytes()
    ran = study(command, "bells.toml")
    assert (ran.code, ran.out) == (1, "")
    assert ran.err.startswith("tapewright: error: study store 'bells.study' ")
    assert ran.err.count("\n") == 1
    assert path.read_bytes() == before


def test_the_help_has_an_example_each(study) -> None:
    for command in ("run", "status", "export", "merge"):
        ran = study(command, "--help")
        assert (ran.code, ran.err) == (0, "")
        assert f"Example: tapewright study {command}" in ran.out


def test_json_and_a_file_are_not_asked_for_at_once(study: Shell, played: Path) -> None:
    said = study("export", "bells.toml", "-o", "bells.csv", "--json")
    assert (said.code, said.out) == (2, "")
    assert "--json prints on stdout" in said.err
    assert not Path("bells.csv").exists()


def test_control_characters_in_names_reach_no_terminal_and_no_table(study: Shell, bells: Path) -> None:
    """An escape, a line break and a bell in the names of the program and of the store."""
    name = "bell\x1b[31m\nof\x07.bin"
    (bells / name).write_bytes(b":00000001FF\n")
    text = STUDY.format(trials=1).replace("[study]", f"[study]\nprogram = {json.dumps(name)}")
    (bells / "bells.toml").write_text(text)
    store = "kept\x1b[31m\nin.study"
    runs = [
        study("run", "bells.toml", "-o", store),
        study("status", store),
        study("export", store),
        study("merge", store, "-o", f"more-{store}"),
        study("--program", name, "--codec", "toy_pulse", "--channel", "wire", "--trials", "1", command="compare"),
    ]
    assert [ran.code for ran in runs] == [0] * len(runs)
    for ran in runs:
        assert not set(ran.out + ran.err) & {"\x1b", "\x07"}
    assert "kept in kept?[31m in.study\n" in runs[0].err
    assert len(runs[2].out.splitlines()) == 5
    assert json.loads(study("export", store, "--json").out)[0]["program"] == name
