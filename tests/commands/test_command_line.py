"""The command line as a whole: help, exit codes, one line an error, and what help costs."""

import re
import signal
import subprocess
import sys
import time
from importlib.metadata import version
from pathlib import Path

import pytest
from command_runs import environment, interruptible, tapewright

SHORT = ("compare", "--codec", "toy_pulse", "--channel", "toy_flips", "--trials", "1", "--json")
COMMANDS = ("compare", "encode", "degrade", "decode", "plugins")


def test_help_lists_every_command_and_imports_nothing_heavy() -> None:
    script = (
        "import sys\n"
        "from tapewright.commands import main\n"
        "sys.argv = ['tapewright', '--help']\n"
        "try:\n    main()\n"
        "except SystemExit as leaving:\n    print('code', leaving.code)\n"
        "heavy = ('numpy', 'scipy', 'numba', 'matplotlib', 'soundfile', 'rich', 'reedsolo', 'bincopy')\n"
        "print('heavy', [name for name in heavy if name in sys.modules])\n"
    )
    ran = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, env=environment())
    assert ran.stderr == ""
    assert ran.stdout.endswith("code 0\nheavy []\n")
    for command in COMMANDS:
        assert re.search(rf"^  {command} +\w", ran.stdout, re.MULTILINE)
    listed = ran.stdout.partition("Commands:")[2]
    assert "..." not in listed, "a command's first line is too long for the list"


@pytest.mark.parametrize("command", COMMANDS)
def test_the_help_of_each_command_has_an_example_and_is_plain(command) -> None:
    ran = tapewright(command, "--help", FORCE_COLOR="1")
    assert (ran.returncode, ran.stderr) == (0, "")
    assert f"Example: tapewright {command}" in ran.stdout
    assert "\x1b" not in ran.stdout
    assert ran.stdout == tapewright(command, "-h").stdout


def test_without_a_command_the_help_is_shown() -> None:
    assert tapewright().stdout == tapewright("--help").stdout


def test_version() -> None:
    ran = tapewright("--version")
    assert (ran.returncode, ran.stdout) == (0, f"tapewright {version('tapewright')}\n")


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("comparr",), "No such command 'comparr'. Did you mean 'compare'?"),
        (("compare", "--trails", "5"), "No such option: --trails"),
        (("compare", "--trials", "many"), "Invalid value for '--trials': "),
        (("compare", "--trials", "0"), "Argument 'trials' must be 1 to 1000000, not 0."),
        (("compare", "--seed", "-1"), "Argument 'seed' must be 0 to"),
        (
            ("compare", "--workers", "0", "--codec", "toy_pulse", "--channel", "toy_flips"),
            "'workers' must be 1 to 1024",
        ),
        (("compare", "--codec", "sturdi"), "codec: there is no 'sturdi'. Did you mean 'sturdy'?"),
        (("compare", "--codec", ""), "spec: is empty"),
        (("compare", "--codec", "toy_pulse:frames=1,frames=2"), "parameter 'frames' of 'toy_pulse' is given twice"),
        (("compare", "--codec", "toy_pulse:frames=nan"), "must be finite"),
        (("compare", "--codec", "((toy_pulse)"), "unbalanced parentheses"),
        (("compare", "--codec", "a\x1b[31mred\nline"), "'a?[31mred line'"),
        (("compare", "--channel", "toy_slow/toy_flips"), "'toy_flips' (tape) cannot follow 'toy_slow' (capture)"),
        (("compare", "--receiver", "sound/sound"), "receiver: one name is needed, not a stack of 2."),
        (("compare", "--program", "no-such-file"), "no-such-file"),
        (("compare", "--plot", "x.gif"), "picture 'x.gif' must end in .png or .svg."),
        (("compare", "--plot", "nowhere/x.png"), "there is no folder"),
    ],
)
def test_a_wrong_call_is_one_line_and_exit_code_2(arguments, told, tmp_path) -> None:
    ran = tapewright(*arguments, cwd=tmp_path)
    assert (ran.returncode, ran.stdout) == (2, "")
    assert ran.stderr.startswith("tapewright: error: ")
    assert ran.stderr.count("\n") == 1
    assert "\x1b" not in ran.stderr
    assert told in ran.stderr
    assert list(tmp_path.iterdir()) == []


def test_a_broken_plug_in_is_one_line_and_exit_code_1() -> None:
    ran = tapewright("compare", "--codec", "toy_broken")
    assert (ran.returncode, ran.stdout) == (1, "")
    assert ran.stderr.count("\n") == 1
    assert "'toy_broken' of package 'tapewright-toys' cannot be loaded" in ran.stderr


def test_a_plug_in_that_raises_is_one_line_and_a_traceback_for_developers() -> None:
    call = ("compare", "--codec", "toy_pulse", "--channel", "toy_bug", "--trials", "1")
    ran = tapewright(*call)
    assert (ran.returncode, ran.stdout) == (1, "")
    assert ran.stderr == (
        "tapewright: error: codec 'toy_pulse', channel 'toy_bug', trial 0, seed 1: ZeroDivisionError: two lines\n"
    )
    told = tapewright(*call, TAPEWRIGHT_TRACEBACK="1")
    assert told.returncode == 1
    assert 'raise ZeroDivisionError("two\\nlines")' in told.stderr


def test_a_reader_who_leaves_early_hears_no_complaint() -> None:
    with subprocess.Popen(
        [sys.executable, "-m", "tapewright", "plugins", "--json"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        env=environment(),
    ) as running:
        running.stdout.close()
        assert running.stderr.read() == b""
        assert running.wait(timeout=60) == 1


def test_interrupted_in_the_middle_nothing_half_written_stays(tmp_path) -> None:
    work, started = tmp_path / "work", tmp_path / "started"
    work.mkdir()
    call = ["compare", "--codec", "toy_pulse", "--channel", "toy_slow:wait_s=60", "--json", "--plot", "frontier.png"]
    begun = time.monotonic()
    with subprocess.Popen(
        [sys.executable, "-m", "tapewright", *call],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        cwd=work,
        env=environment(TOYS_STARTED=str(started)),
        preexec_fn=interruptible,
    ) as running:
        while not started.exists() and running.poll() is None and time.monotonic() - begun < 60:
            time.sleep(0.02)
        assert started.exists()
        running.send_signal(signal.SIGINT)
        said, complained = running.communicate(timeout=50)  # a tape takes 60 s: nobody waits for its end
    assert running.returncode == 130
    assert (said, complained) == ("", "tapewright: interrupted.\n")
    assert list(work.iterdir()) == []


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="only Linux has a device that is always full")
@pytest.mark.parametrize("arguments", [("--version",), ("plugins", "--json"), SHORT])
def test_a_full_disk_under_stdout_is_one_line_and_exit_code_1(arguments) -> None:
    with open("/dev/full", "w") as full:
        ran = subprocess.run(
            [sys.executable, "-m", "tapewright", *arguments],
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
            env=environment(),
        )
    assert (ran.returncode, ran.stderr) == (
        1,
        "tapewright: error: No space left on device; send the output elsewhere.\n",
    )


def test_without_a_stdout_the_work_is_done_all_the_same() -> None:
    closed = subprocess.run(
        f"'{sys.executable}' -m tapewright plugins >&-",
        shell=True,
        stderr=subprocess.PIPE,
        text=True,
        env=environment(),
    )
    assert (closed.returncode, closed.stderr) == (0, "")


def test_a_terminal_that_cannot_show_a_name_gets_it_escaped() -> None:
    ran = tapewright("plugins", PYTHONIOENCODING="ascii:strict")
    assert (ran.returncode, ran.stderr) == (0, "")
    assert r"A toy: raises \u26a0." in ran.stdout
