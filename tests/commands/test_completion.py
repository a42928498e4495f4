"""What the shell is offered: commands, options, and the names that may come next in a spec."""

import os
import shlex
import shutil
import subprocess
import sys
from importlib import import_module
from typing import get_type_hints

import pytest
from command_runs import environment, tapewright
from tapewright.commands import completion


def offered(*words):
    """What bash is offered for the last of ``words``."""
    done = tapewright(
        _TAPEWRIGHT_COMPLETE="complete_bash", COMP_WORDS=" ".join(["tapewright", *words]), COMP_CWORD=str(len(words))
    )
    assert done.returncode == 0, done.stderr
    return done.stdout.split()


def test_commands_and_options_are_offered():
    assert offered("enc") == ["encode"]
    assert "--codec" in offered("encode", "--co")


@pytest.mark.parametrize(
    ("words", "among"),
    [
        (("encode", "--codec", "contents/frame/bip"), "contents/frame/biphase"),
        (("compare", "--channel", "ordinary-w"), "ordinary-worn"),
        (("sheet", "--receiver", "rel"), "relays"),
        (("timing", "--set", "sig"), "signal_12v"),
    ],
)
def test_names_are_offered_where_a_spec_is_asked_for(words, among):
    assert among in offered(*words)


SPECS = {"codec": completion.codecs, "receiver": completion.receivers, "channel": completion.channels}
WANTED = {
    **{(command, "codec"): completion.codecs for command in ("compare", "encode", "decode", "player", "explain")},
    **{("compare", name): offer for name, offer in SPECS.items()},
    **{("sheet", name): offer for name, offer in SPECS.items()},
    ("degrade", "channel"): completion.channels,
    ("choose", "channel"): completion.channels,
    ("choose", "relay_set"): completion.relay_sets,
    ("choose", "table"): completion.relay_tables,
    ("decode", "receiver"): completion.receivers,
    ("report", "over"): completion.channels_of_rows,
    ("timing", "codec"): completion.codecs,
    ("timing", "relays"): completion.relay_sets,
    ("timing", "table"): completion.relay_tables,
    ("compare", "engine"): completion.engines,
    **{(f"study_{name}", "study"): completion.studies for name in ("run", "status", "export")},
    ("study_run", "engine"): completion.engines,
}


@pytest.mark.parametrize(("command", "option"), WANTED)
def test_every_option_that_takes_a_name_offers_some(command, option):
    module = import_module(f"tapewright.commands.{command}")
    function = getattr(module, command.removeprefix("study_"))
    declared = get_type_hints(function, include_extras=True)[option].__metadata__[0]
    assert declared.autocompletion is WANTED[command, option]


def test_relay_sets_and_tables_are_offered_inside_a_receiver():
    assert completion.receivers("rel") == ["relays"]
    assert "relays:set=reed_12v" in completion.receivers("relays:set=")
    assert completion.receivers("relays:set=reed_12v,table=clock_tower_") == [
        "relays:set=reed_12v,table=clock_tower_overlapped"
    ]
    assert completion.relay_tables("clock_t") == ["clock_tower", "clock_tower_overlapped"]
    assert completion.relay_sets("x") == []


def test_files_are_offered_behind_an_at(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    for name in ("bells.toml", "bells.study", "bolt.toml", ".hidden.toml"):
        (tmp_path / name).touch()
    (tmp_path / "belfry").mkdir()
    (tmp_path / "belfry" / "deck.toml").touch()
    assert completion.studies("@be") == ["@belfry/", "@bells.toml"]
    assert completion.channels("@belfry/") == ["@belfry/deck.toml"]
    assert completion.codecs("@") == ["@belfry/", "@bells.toml", "@bolt.toml"]
    assert completion.studies("be") == []  # the shell offers them itself
    assert completion.codecs("@nowhere/") == []


def test_bash_itself_is_given_them(tmp_path):
    """The script that the shell is given, in the shell: ``complete -o default`` offers files where we offer nothing."""
    bash = shutil.which("bash")
    if bash is None:
        pytest.skip("no bash is installed, which could be asked")
    script = tapewright("--show-completion", "bash", _TYPER_COMPLETE_TEST_DISABLE_SHELL_DETECTION="1").stdout
    program = tmp_path / "tapewright"
    program.write_text(f'#!/bin/sh\nexec {shlex.quote(sys.executable)} -m tapewright "$@"\n')
    program.chmod(0o755)
    asked = (
        f"{script}\nCOMP_WORDS=(tapewright compare --codec stead)\nCOMP_CWORD=3\n_tapewright_completion tapewright\n"
    )
    asked += 'complete -p tapewright; printf "%s\\n" "${COMPREPLY[@]}"'
    path = f"{tmp_path}{os.pathsep}{os.environ['PATH']}"
    done = subprocess.run([bash, "-c", asked], env=environment(PATH=path), capture_output=True, text=True, timeout=60)
    way, *found = done.stdout.splitlines()
    assert "-o default" in way
    assert found == ["steady-attic", "steady-worn"]


def test_a_word_that_nothing_fits_offers_nothing():
    assert offered("encode", "--codec", "contents/zzz") == []


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_every_shell_gets_its_script(shell):
    done = tapewright("--show-completion", shell, _TYPER_COMPLETE_TEST_DISABLE_SHELL_DETECTION="1")
    assert done.returncode == 0
    assert "_TAPEWRIGHT_COMPLETE" in done.stdout
