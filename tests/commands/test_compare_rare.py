"""``compare --rare`` from the shell's side."""

import json
import subprocess
import sys

import pytest
from tapewright.benchmarks.rare import RareFailures
from tapewright.benchmarks.statistics import Estimate
from tapewright.benchmarks.study import Study
from tapewright.commands.rare import show

SHORT = "biphase:leader_s=0.1,tail_s=0,bit_rate_hz=2400"
SIMPLE = ("--codec", SHORT, "--channel", "dropouts:per_minute=0.5", "--trials", "400", "--rare")


def compare(tmp_path, *arguments):
    command = [sys.executable, "-m", "tapewright", "compare", *arguments]
    return subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, timeout=120)


def answer(**told):
    task = Study(b"!", "one", ("sturdy",), ("sound",), ("good-played",)).tasks()[0]
    return RareFailures(
        task, **{"refusal": None, "without_events": (0, 1000), "tapes": 4000, "chance_without_events": 0.8, **told}
    )


def test_a_figure_is_shown_with_its_interval_and_what_it_leaves_open(capsys):
    figure = Estimate(4e-7, 3e-7, 6e-7, "by hand")
    found = {"effective_failures": 33.2, "failures": 132, "silent": 2, "silent_rate": 6e-8, "unseen_at_most": 2e-4}
    show((answer(load_failure=figure, **found),))
    told = capsys.readouterr().out
    row = told.splitlines()[2]
    assert row.split() == [
        "sturdy",
        "good-played",
        "4.0e-07",
        "(3.0e-07",
        "to",
        "6.0e-07)",
        "1.50",
        "33",
        *["15", "%"],
        *["132", "/", "3000"],
    ]
    assert "failed loads with" in told.splitlines()[0]
    assert "the figure counts loads that fail on a tape with dropouts" in told
    assert "Without dropouts 0 of 1000 tapes failed, which adds up to 0.24 % of all loads (one-sided, 95 %)" in told
    assert "What a mild dropout and bad luck do more rarely than these tapes show, up to 2.0e-04 of all loads" in told
    assert "receiver" not in told


@pytest.mark.parametrize(("part", "shown"), [(1.0, " 100 %"), (0.9971, "99.7 %"), (0.001234, "0.123 %")])
def test_silent_share_is_a_plain_number(capsys, part, shown):
    figure = Estimate(4e-7, 3e-7, 6e-7, "by hand")
    show((answer(load_failure=figure, failures=9, silent=9, silent_rate=part * 4e-7),))
    assert shown in capsys.readouterr().out


def test_several_receivers_are_named(capsys):
    tasks = Study(b"!", "one", ("plain-clocked",), ("sound", "relays"), ("worn",)).tasks()
    show(tuple(RareFailures(task, "cannot be played.") for task in tasks))
    told = capsys.readouterr().out.splitlines()
    assert "receiver" in told[1]
    assert "No figure for plain-clocked by sound over worn: cannot be played." in told
    assert "No figure for plain-clocked by relays over worn: cannot be played." in told


def test_what_fails_without_dropouts_has_an_interval_of_its_own(capsys):
    show((answer(load_failure=Estimate(4e-3, 3e-3, 6e-3, "by hand"), without_events=(1, 1000)),))
    told = capsys.readouterr().out
    assert "Without dropouts 1 of 1000 tapes failed, which adds 0.08 % of all loads (0.002 % to 0.44 %) and" in told


def test_no_failure_met_is_shown_as_a_bound_and_a_refusal_by_its_reason(capsys):
    show((answer(load_failure=Estimate(0.0, 0.0, 2e-3, "by hand")), answer(refusal="not rare")))
    told = capsys.readouterr().out
    assert "<= 2.0e-03" in told
    assert "none met" in told
    assert "Without dropouts 0 of 1000 tapes failed, which adds up to 0.24 % of all loads" in told
    assert "No figure for sturdy over good-played: not rare." in told


def test_records_as_json(tmp_path):
    (tmp_path / "one.bin").write_bytes(b"!")
    told = compare(tmp_path, *SIMPLE, "--json", "--channel", "hiss", "--program", "one.bin")
    assert told.returncode == 0, told.stderr
    figured, refused = json.loads(told.stdout)
    assert figured["tapes"] == 400
    assert figured["silent_rate"] <= figured["load_failure"]["rate"]
    assert 0 <= figured["unseen_at_most"] < 0.1
    assert "on a tape with at least one event" in figured["load_failure_is"]
    assert figured["failure_without_events"]["low"] == 0.0 < figured["failure_without_events"]["high"] < 0.05
    assert figured["load_failure"]["low"] < figured["load_failure"]["rate"] < figured["load_failure"]["high"]
    assert refused["load_failure"] is None
    assert refused["refusal"] == "no stage of its channel has events: count failures by plain trials"


def test_no_figure_at_all_exits_3(tmp_path):
    told = compare(tmp_path, "--rare", "--codec", "sturdy", "--channel", "wire")
    assert told.returncode == 3
    assert "No figure for sturdy over wire: no stage of its channel has events" in told.stdout
    assert len(told.stderr.splitlines()) == 1


@pytest.mark.parametrize("other", [("--plot", "x.png"), ("--engine", "dask")])
def test_what_it_does_not_do_is_refused(tmp_path, other):
    told = compare(tmp_path, *SIMPLE, *other)
    assert told.returncode == 2
    assert "--rare plays on the threads of this machine" in told.stderr
