"""Sets, tables and programs that no machine can be built from: each is refused with its place in the file, exit 2."""

from __future__ import annotations

from importlib import resources
from pathlib import Path

import pytest
from command_shell import Shell

PACKAGE = resources.files("tapewright.receivers.relays")
SET = (PACKAGE / "sets" / "signal_12v.toml").read_text()
TABLE = (PACKAGE / "tables" / "clock_tower.toml").read_text()


def changed(text: str, *changes: tuple[str, str]) -> str:
    for old, new in changes:
        assert old in text
        text = text.replace(old, new, 1)
    return text


def line_of(text: str, words: str, nth: int = 1) -> int:
    """The line of a file in which ``words`` stand for the nth time."""
    return [number for number, line in enumerate(text.splitlines(), 1) if words in line][nth - 1]


def with_line(words: str, place: str = 'name = "count"') -> str:
    """The table with ``words`` in the section of one line."""
    return changed(TABLE, (place, f"{words}\n{place}"))


SETS = {
    "pick-up above the supply": (
        changed(SET, ("voltage_v = 13.8", "voltage_v = 8.5")),
        "voltage_v",
        "'supply.voltage_v' must be above the pick-up of the logic relays, 9 V, not 8.5 V.",
    ),
    "pick-up above what the amplifier gives": (
        changed(SET, ("clip_v = 16.0", "clip_v = 9.5")),
        "clip_v",
        "'front_end.clip_v' leaves 8.1 V behind the rectifier, and the input relays pick up at up to 9 V.",
    ),
    "release above pick-up": (
        changed(SET, ("drop_out_percent = [10.0, 22.0, 35.0]", "drop_out_percent = [10.0, 22.0, 60.0]")),
        "drop_out_percent",
        "'relays.input.drop_out_percent' must stay below pick-up: a relay with release at 60 % and pick-up at 45 % "
        "would never rest.",
    ),
    "a negative time": (
        changed(SET, ("release_ms = [1.5, 2.5, 4.0]", "release_ms = [-1.5, 2.5, 4.0]")),
        "release_ms",
        "'relays.input.release_ms' is wrong: A spread must be [least, typical, most], above 0 and ascending, "
        "not [-1.5, 2.5, 4].",
    ),
    "a negative skew": (
        changed(SET, ("skew_ms = 0.1", "skew_ms = -0.1")),
        "skew_ms",
        "'tape.skew_ms' must be 0 to 10, not -0.1.",
    ),
}

TABLES = {
    "a cycle": (
        changed(TABLE, ('bus = "address"', 'bus = "address"\nuses = ["write"]')),
        'uses = ["write"]',
        "'line[1].uses' goes in a circle: address out -> write -> address out.",
    ),
    "an unknown line": (
        with_line('through = ["panel key"]'),
        'through = ["panel key"]',
        "'line[4].through' of line 'count': there is no line 'panel key'; there are: address out, data out, write, "
        "count, clear.",
    ),
    "no bit steps": (
        changed(TABLE, ("bit_steps = [1, 2, 3, 4, 5, 6, 7, 8]", "bit_steps = []")),
        "bit_steps = []",
        "'bit_steps' names no step: there must be 8 bit steps.",
    ),
    "a line used but never driven": (
        changed(TABLE, ("steps = [9, 10, 11]", "steps = []")),
        'uses = ["address out"',
        "'line[3].uses' of line 'write': line 'address out' is used but never driven: no step holds it.",
    ),
    "a bus that no line drives": (
        changed(TABLE, ('bus = "data"', 'bus = "address"')),
        "[[line]]",
        "'line' needs a line that drives the data bus, which 'write' uses: it is never driven.",
    ),
}


def refused(shell: Shell, *arguments: str) -> str:
    before = {path.name: path.read_bytes() for path in Path().iterdir()}
    outcome = shell(*arguments)
    assert (outcome.code, outcome.out) == (2, "")
    assert {path.name: path.read_bytes() for path in Path().iterdir()} == before
    return outcome.complaint


@pytest.mark.parametrize("command", ["timing", "sheet", "compare"])
@pytest.mark.parametrize("case", [*SETS, *TABLES])
def test_a_bad_file_is_refused_with_its_line_by_every_command(shell: Shell, case: str, command: str) -> None:
    option, (text, place, said) = ("set", SETS[case]) if case in SETS else ("table", TABLES[case])
    Path("mine.toml").write_text(text)
    spec = f"relays:{option}=mine.toml"
    arguments = {
        "timing": (f"--{option}", "mine.toml"),
        "sheet": ("--codec", "plain-clocked", "--receiver", spec, "--channel", "played", "-o", "out"),
        "compare": ("--codec", "plain-clocked", "--receiver", spec, "--channel", "played", "--trials", "1"),
    }
    complaint = refused(shell, command, *arguments[command])
    assert complaint == f"mine.toml, line {line_of(text, place)}: {said}"


@pytest.mark.parametrize(
    ("codec", "said"),
    [
        ("clocked:tone_hz=400,step_ms=200", "relays: a tone of 400 Hz is too low for the reservoir of set 'mine': "),
        ("clocked:tone_hz=19000", "relays: a tone of 19000 Hz is too high for the rectifier and coil of set 'mine', "),
        ("sturdy", "relays: 'contents' needs a microcontroller; relays alone cannot decode it."),
    ],
)
def test_a_code_that_the_machine_cannot_follow_is_refused_with_the_reason(shell: Shell, codec: str, said: str) -> None:
    # Little reservoir and a coil of little inductance: nothing bridges the gaps between the peaks of a low tone.
    weak = changed(SET, ("reservoir_uf = 4.7", "reservoir_uf = 0.0"), ("released_h = 1.1", "released_h = 0.01"))
    Path("mine.toml").write_text(weak)
    spec = "relays:set=mine.toml"
    for arguments in (
        ("timing", "--codec", codec, "--set", "mine.toml"),
        ("sheet", "--codec", codec, "--receiver", spec, "--channel", "played", "-o", "out"),
    ):
        assert refused(shell, *arguments).startswith(said)


def test_a_program_longer_than_the_address_space_is_refused(shell: Shell) -> None:
    Path("long.bin").write_bytes(bytes(257))
    machine = ("--codec", "plain-clocked", "--receiver", "relays", "--channel", "played")
    assert refused(shell, "sheet", "--program", "long.bin", *machine, "-o", "out") == (
        "clock_tower: a program of 257 bytes from address 0 does not fit 8 address bits, which leave room for 256."
    )
