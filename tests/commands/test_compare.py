"""``tapewright compare`` from the outside."""

import json
import os
import re
import subprocess
import time
from pathlib import Path

import pytest
from command_runs import TOYS, tapewright
from tapewright.benchmarks import study
from terminal import run_in_a_terminal

NOISY = "toy_flips:rate=0.001,blank=0.05"
CALL = ("--codec", "toy_pulse", "--codec", "toy-checked", "--channel", "toy_flips", "--channel", NOISY)


def compare(*arguments: str, cwd: Path | None = None, **more: str) -> subprocess.CompletedProcess[str]:
    return tapewright("compare", *arguments, cwd=cwd, **more)


def in_a_terminal(*arguments: str, columns: int, interrupt_at: bytes | None = None, **more: str) -> tuple[int, str]:
    return run_in_a_terminal("compare", *arguments, columns=columns, interrupt_at=interrupt_at, **more)


def test_the_table_says_what_was_found() -> None:
    ran = compare(*CALL)
    assert (ran.returncode, ran.stderr) == (0, "")
    rows = [line.split() for line in ran.stdout.splitlines() if line.startswith("toy")]
    assert [row[:2] for row in rows] == [
        ["toy_pulse", "toy_flips"],
        ["toy-checked", "toy_flips"],
        ["toy_pulse", NOISY],
        ["toy-checked", NOISY],
    ]
    # Nothing flips on the first channel: 40 of 40, whose exact interval starts at 0.025^(1/40) = 91.2 %, and whose
    # byte errors are bounded by 1 - 0.025^(1/40) = 8.8e-2.
    assert "40 / 0 / 0 100.0 % (91.2 to 100.0) <= 8.8e-2" in ran.stdout
    assert [row[-1] == "*" for row in rows] == [True, False, True, False]
    assert "5512.5" in rows[0]  # one frame a bit at 44.1 kHz: 44,100 / 8 bytes a second
    assert "40 of 40 right shows a load success of at least 92.7 %, not 100 %" in ran.stdout
    assert "Silent losses, where a wrong program looks right: toy_pulse" in ran.stdout
    assert "To decode toy_pulse takes a computer." in ran.stdout


def test_what_relays_can_decode_is_shown_with_its_parts() -> None:
    """Two inputs, two relays a step, a latch a bit and a reset; the parity bit adds a step, a latch and the alarm.

    Two contacts more let a reset mark that finds clocks lost feed the alarm.
    """
    specs = ("clocked", "parity/clocked:group_bits=9", "parity/clocked", "biphase")
    ran = compare("--channel", "wire", "--trials", "1", *(word for spec in specs for word in ("--codec", spec)))
    assert ran.returncode == 0
    assert "To decode clocked takes 35 relays, 81 contacts, 12 steps a byte." in ran.stdout
    assert "To decode parity/clocked:group_bits=9 takes 39 relays, 109 contacts, 13 steps a byte." in ran.stdout
    assert "To decode parity/clocked takes a microcontroller: 'clocked' has group_bits=8" in ran.stdout
    assert "To decode biphase takes a microcontroller." in ran.stdout


def test_with_a_relay_receiver_the_whole_machine_is_shown_and_what_a_second_bank_buys() -> None:
    codecs, machines = ("clocked", "clocked:extra_steps=2"), ("relays", "relays:table=clock_tower_overlapped")
    asked = [*(word for spec in codecs for word in ("--codec", spec)), "--channel", "wire", "--trials", "1"]
    ran = compare(*asked, *(word for spec in machines for word in ("--receiver", spec)))
    assert ran.returncode == 0
    told = re.findall(r"^The whole machine that loads (\S+) \((\S+)\) has (\d+) relays; .* ([\d.]+) bytes/s\.$",
                      ran.stdout, re.MULTILINE)  # fmt: skip
    assert [row[:2] for row in told] == list(zip(codecs, machines, strict=True))
    (plain, slow), (overlapped, fast) = ((int(relays), float(pace)) for *_, relays, pace in told)
    # By hand: as in the test of the second bank, 12 relays more for it and 8 fewer in the ring of two steps less.
    assert overlapped - plain == 4
    assert fast > 1.1 * slow


def test_a_pipe_gets_plain_text_of_full_width() -> None:
    long = "toy_flips:rate=0.00200000000000000000000001,blank=0.0500000000000000000000000000000000000000000001"
    ran = compare(*CALL, "--channel", long, "--trials", "2", COLUMNS="40")
    assert "\x1b" not in ran.stdout + ran.stderr
    assert sum(long in line for line in ran.stdout.splitlines()) == 2
    assert all(line == line.rstrip() for line in ran.stdout.splitlines())


@pytest.mark.parametrize("columns", [80, 140])
def test_a_terminal_gets_no_line_wider_than_itself_and_no_colour_if_asked(columns) -> None:
    code, sent = in_a_terminal(*CALL, "--trials", "3", columns=columns, NO_COLOR="1")
    assert code == 0
    assert "to go" in sent  # the progress line
    assert sent.count("\x1b[?25l") == sent.count("\x1b[?25h")  # the cursor is given back
    assert not re.search(r"\x1b\[[0-9;]*(3[0-7]|38;)[0-9;]*m", sent)
    page = sent[sent.rindex("codec ") :]
    assert max(len(re.sub(r"\x1b\[[0-9;?]*[a-zA-Z]", "", line)) for line in page.splitlines()) <= columns
    assert "3 / 0 / 0" in page
    assert "29.2 to 100.0" in page  # 0.025^(1/3) = 29.2 %: an interval is never torn


def test_a_terminal_too_narrow_for_a_table_gets_a_list_with_every_figure() -> None:
    code, sent = in_a_terminal(*CALL, "--trials", "3", columns=40, NO_COLOR="1")
    assert code == 0
    page = re.sub(r"\x1b\[[0-9;?]*[a-zA-Z]", "", sent[sent.rindex("\x1b[?25h") :]).replace("\r", "")
    assert max(map(len, page.splitlines())) <= 40
    assert "\u2026" not in page
    told = " ".join(page.split())
    # Three of three: exactly from 0.025^(1/3) = 29.2 %, and byte errors up to 1 - 0.025^(1/3) = 7.1e-1.
    for figure in ("useful bytes/s: 5512.5", "3 / 0 / 0", "100.0 % (29.2 to 100.0)", "interval: <= 7.1e-1", NOISY[:30]):
        assert figure in told


@pytest.mark.parametrize(("columns", "shown"), [(80, False), (120, True)])
def test_the_share_of_capacity_stands_where_there_is_room(columns, shown) -> None:
    call = ("--codec", "toy_pulse:frames=100", "--channel", "hiss")
    code, sent = in_a_terminal(*call, "--trials", "2", columns=columns, NO_COLOR="1")
    assert code == 0
    assert ("share of" in sent) is shown
    assert ("0.077 %" in sent) is shown  # 441 bits a second of 2 * 20,000 log2(1 + 10^4.3): 3 dB below a full sine
    assert "Capacity, an upper bound" in sent


def test_interrupted_the_terminal_is_left_as_it_was() -> None:
    call = ("--codec", "toy_pulse", "--channel", "toy_slow:wait_s=0.05")
    code, sent = in_a_terminal(*call, "--trials", "5000", columns=100, interrupt_at=b"to go")
    assert code == 130
    assert sent.count("\x1b[?25l") == sent.count("\x1b[?25h") > 0
    assert sent.endswith("tapewright: interrupted.\r\n")
    assert "right /" not in sent


def test_the_help_states_the_defaults_that_are_taken() -> None:
    told = " ".join(compare("--help").stdout.split())
    assert f"--trials N Tapes a row. [default: {study.DEFAULT_TRIALS}]" in told
    assert f"--seed N Same seed, same result. [default: {study.DEFAULT_SEED}]" in told
    assert f"[default: {study.DEFAULT_RECEIVERS[0]}]" in told
    assert "[default: the four ready stacks]" in told
    assert len(study.DEFAULT_CODECS) == len(study.DEFAULT_CHANNELS) == 4


def test_the_records_are_the_table_and_are_repeatable() -> None:
    ran = compare(*CALL, "--json", "--trials", "30", "--seed", "5", "--workers", "1")
    assert (ran.returncode, ran.stderr) == (0, "")
    rows = json.loads(ran.stdout)
    assert [(row["codec"], row["channel"]) for row in rows] == [
        (codec, channel) for channel in ("toy_flips", NOISY) for codec in ("toy_pulse", "toy-checked")
    ]
    assert {(row["trials"], row["seed"], row["receiver"], row["program"]) for row in rows} == {
        (30, 5, "sound", "chime")
    }
    assert {row["payload_bytes"] for row in rows} == {128}
    again = compare(*CALL, "--json", "--trials", "30", "--seed", "5", "--workers", "2")
    assert again.stdout == ran.stdout
    other = compare(*CALL, "--json", "--trials", "30", "--seed", "6")
    assert other.stdout != ran.stdout


def test_real_stacks_over_real_grades_do_not_depend_on_the_workers(tmp_path) -> None:
    (tmp_path / "noon.bin").write_bytes(bytes(range(40)))
    call = ("--codec", "sturdy", "--codec", "standard-300", "--channel", "wire", "--channel", "attic", "--trials", "4")
    alone, together = (
        compare(*call, "--program", "noon.bin", "--json", "--workers", workers, cwd=tmp_path) for workers in ("1", "3")
    )
    assert (alone.returncode, alone.stderr) == (0, "")
    assert alone.stdout == together.stdout
    rows = json.loads(alone.stdout)
    assert [row["right"] for row in rows if row["channel"] == "wire"] == [4, 4]
    assert {row["silent"] for row in rows if row["codec"] == "sturdy"} == {0}


@pytest.mark.parametrize("engine", ["threads", "processes"])
def test_an_error_waits_for_no_tape_that_plays(engine) -> None:
    begun = time.monotonic()
    channels = ("--channel", "toy_slow:wait_s=50", "--channel", "toy_bug")
    ran = compare("--codec", "toy_pulse", *channels, "--engine", engine, "--workers", "3")
    assert (ran.returncode, ran.stdout) == (1, "")
    assert ran.stderr.startswith("tapewright: error: codec 'toy_pulse', channel 'toy_bug', trial ")
    assert ran.stderr.count("\n") == 1
    assert time.monotonic() - begun < 30


def test_refused_rows_are_said_and_not_counted() -> None:
    ran = compare(*CALL, "--receiver", "toy_deaf", "--trials", "2")
    assert ran.returncode == 0
    assert ran.stdout.count("refused") == 4
    assert ran.stdout.count("toy_deaf cannot load toy_pulse: it needs a computer\n") == 1
    assert "No tape was played" in ran.stdout


def test_a_program_file_is_taken_and_a_hostile_name_stays_harmless(tmp_path) -> None:
    hostile = tmp_path / "[bold]red[bold] $x_1$ \x1b[31m.bin"
    hostile.write_bytes(bytes(range(50)))
    ran = compare(*CALL, "--program", hostile.name, "--trials", "2", "--json", "--plot", "p.png", cwd=tmp_path)
    assert (ran.returncode, ran.stderr) == (0, "")
    assert "\x1b" not in ran.stdout
    assert {row["program"] for row in json.loads(ran.stdout)} == {hostile.name}
    assert {row["payload_bytes"] for row in json.loads(ran.stdout)} == {50}


@pytest.mark.parametrize(("name", "starts"), [("a.png", b"\x89PNG\r\n\x1a\n"), ("b.SVG", b"<?xml")])
def test_the_picture_appears_whole(name, starts, tmp_path) -> None:
    call = (*CALL, "--trials", "3", "--plot", name)
    assert compare(*call, cwd=tmp_path).returncode == 0
    picture = tmp_path / name
    assert picture.read_bytes().startswith(starts)
    assert [path.name for path in tmp_path.iterdir()] == [name]


def test_a_picture_is_not_overwritten_unasked(tmp_path) -> None:
    name = "a.svg"
    call = (*CALL, "--trials", "3", "--plot", name)
    picture = tmp_path / name
    picture.write_bytes(b"mine")
    started = tmp_path.parent / f"{name}-started"
    refused = compare(*call, "--channel", "toy_slow", cwd=tmp_path, TOYS_STARTED=str(started))
    assert not started.exists()  # refused before any tape is played, not after
    assert (refused.returncode, refused.stdout) == (2, "")
    assert "exists; --force overwrites it" in refused.stderr
    assert picture.read_bytes() == b"mine"
    assert compare(*call, "--force", cwd=tmp_path).returncode == 0
    assert picture.read_bytes().startswith(b"<?xml")


def test_without_the_library_for_pictures_one_line_says_what_to_install(tmp_path) -> None:
    (tmp_path / "matplotlib.py").write_text("raise ImportError('not here')\n")
    ran = compare(*CALL, "--plot", "a.png", cwd=tmp_path, PYTHONPATH=f"{tmp_path}{os.pathsep}{TOYS}")
    assert (ran.returncode, ran.stdout) == (1, "")
    assert ran.stderr == "tapewright: error: a picture needs matplotlib; pip install 'tapewright[plot]' brings it.\n"
