"""Every command's help ends with an example, and the example does what it says."""

import shlex
from itertools import pairwise
from pathlib import Path

import pytest
import typer.main
from command_shell import Shell
from tapewright.commands.application import application

STUDY = """
[study]
codecs = ["plain-biphase", "sturdy"]
channels = ["ordinary-worn"]
trials = 3
"""
BEFORE = {
    "chime.wav": "encode chime -o chime.wav --codec sturdy",
    "worn.wav": "degrade chime.wav -o worn.wav --channel worn --seed 1",
    "test.wav": "testtape -o test.wav",
    "capture.wav": "degrade test.wav -o capture.wav --channel ordinary-played --seed 1",
    "memory.bin": "decode chime.wav -o memory.bin --codec sturdy",
    "bells.study": "study run bells.toml",
    "first.study": "study run bells.toml --share 1/2 -o first.study",
    "second.study": "study run bells.toml --share 2/2 -o second.study",
    "answer.json": "compare --codec plain-biphase --channel ordinary-worn --trials 3 --json",
}
"""What a user would have by then, and the command that makes it or says it; each needs those above it at the most."""

FOLLOWS = {"study status": {"bells.study"}, "study export": {"bells.study"}}
"""What an example needs without naming it."""

LONG = {"choose"}
"""Examples that take minutes; they run with the acceptance runs."""


def examples(command, name):
    """Each command with the example of its help, those inside a group too."""
    inner = getattr(command, "commands", {})
    for below, found in inner.items():
        yield from examples(found, f"{name} {below}".strip())
    if not inner:
        said = " ".join((command.help or "").split())
        yield name, said.partition("Example: ")[2]


EXAMPLES = dict(examples(typer.main.get_command(application()), ""))


def made_before(shell: Shell, wanted: set[str]) -> None:
    """Make what the example reads, and what that was made from."""
    needed = {file for file in BEFORE if file in wanted}
    for file in reversed(BEFORE):
        if file in needed:
            needed |= set(shlex.split(BEFORE[file])) & set(BEFORE)
    for file, command in BEFORE.items():
        if file in needed:
            done = shell(*shlex.split(command))
            assert done.code == 0, done.err[-2000:]
            if not Path(file).exists():
                Path(file).write_text(done.out, encoding="utf-8")


def test_every_command_has_an_example():
    assert len(EXAMPLES) >= 17
    for name, example in EXAMPLES.items():
        assert example.startswith(f"tapewright {name}"), name


@pytest.mark.parametrize("name", [pytest.param(n, marks=pytest.mark.acceptance) if n in LONG else n for n in EXAMPLES])
def test_the_example_runs(name, shell):
    program, *words = shlex.split(EXAMPLES[name])
    assert program == "tapewright"
    Path("bells.toml").write_text(STUDY, encoding="utf-8")
    outputs = {word for option, word in pairwise(words) if option in ("-o", "--output")}
    made_before(shell, {word.removeprefix("@") for word in words} - outputs | FOLLOWS.get(name, set()))
    done = shell(*words)
    assert done.code == 0, done.err[-2000:]
    assert all(Path(output).exists() for output in outputs)
