"""What the shell is offered: commands, options, and the names that may come next in a spec."""

import pytest
from command_runs import tapewright


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
        (("encode", "--codec", "stur"), "sturdy"),
        (("encode", "--codec", "contents/frame/bip"), "contents/frame/biphase"),
        (("degrade", "--channel", "ordinary-w"), "ordinary-worn"),
        (("decode", "--receiver", "rel"), "relays"),
    ],
)
def test_names_are_offered_where_a_spec_is_asked_for(words, among):
    assert among in offered(*words)


def test_a_word_that_nothing_fits_offers_nothing():
    assert offered("encode", "--codec", "contents/zzz") == []


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_every_shell_gets_its_script(shell):
    done = tapewright("--show-completion", shell, _TYPER_COMPLETE_TEST_DISABLE_SHELL_DETECTION="1")
    assert done.returncode == 0
    assert "_TAPEWRIGHT_COMPLETE" in done.stdout
