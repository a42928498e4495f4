"""Step tables: the ready one, what is refused and where, hazards."""

from dataclasses import replace
from pathlib import Path

import pytest
from tapewright.contracts.errors import UsageError
from tapewright.receivers.relays.hazard import DRIVERS, POLES, SETTLE, SNEAK, hazards
from tapewright.receivers.relays.relay_set import load_set
from tapewright.receivers.relays.table import Line, Table, load_table, ready_tables

READY = """title = "A test"
steps = 12
bit_steps = [1, 2, 3, 4, 5, 6, 7, 8]
address_bits = 8

[[line]]
name = "address out"
action = "drive"
bus = "address"
steps = [9, 10, 11]

[[line]]
name = "data out"
action = "drive"
bus = "data"
steps = [9, 10, 11]

[[line]]
name = "write"
action = "write"
when = "clock"
steps = [11]
uses = ["address out", "data out"]

[[line]]
name = "count"
action = "count"
when = "clock"
steps = [12]

[[line]]
name = "clear"
action = "clear"
when = "clock"
steps = [12]
"""


def load(tmp_path: Path, text: str) -> Table:
    path = tmp_path / "mine.toml"
    path.write_text(text)
    return load_table(str(path))


def test_the_demo_table_has_eight_bits_then_drive_settle_write_count(tmp_path: Path) -> None:
    assert "clock_tower" in ready_tables()
    table = load_table("clock_tower")
    assert (table.steps, table.bit_steps) == (12, tuple(range(1, 9)))
    assert [table.line(name).steps for name in ("address out", "write", "count")] == [(9, 10, 11), (11,), (12,)]
    assert hazards(table, load_set("signal_12v")) == ()
    mine = load(tmp_path, READY)
    assert mine.name == "mine"
    assert mine.lines == table.lines


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("steps = [9, 10, 11]\n\n[[line]]\nname = \"data",
         "uses = [\"write\"]\nsteps = [9, 10, 11]\n\n[[line]]\nname = \"data",
         "line 10: 'line[1].uses' goes in a circle: address out -> write -> address out."),
        ('name = "write"', 'through = ["write"]\nname = "write"',
         "line 19: 'line[3].through' goes in a circle: write -> write."),
        ('uses = ["address out", "data out"]', 'uses = ["address out", "date out"]',
         "line 23: 'line[3].uses' of line 'write': there is no line 'date out'; there are: address out, data out"),
        ("bit_steps = [1, 2, 3, 4, 5, 6, 7, 8]", "bit_steps = []", "line 3: 'bit_steps' names no step"),
        ("bit_steps = [1, 2, 3, 4, 5, 6, 7, 8]", "", "'bit_steps' names no step"),
        ("bit_steps = [1, 2, 3, 4, 5, 6, 7, 8]", "bit_steps = [1, 2]", "must be 8 ascending steps"),
        ('bus = "data"\nsteps = [9, 10, 11]', 'bus = "data"\nsteps = []',
         "of line 'write': line 'data out' is used but never driven"),
        ('name = "count"\naction = "count"', 'name = "count"\naction = "lamp"',
         "needs one line with action = \"count\", not 0"),
        ('uses = ["address out", "data out"]', 'uses = ["data out"]', "must name a line that drives the address bus"),
        ("steps = [11]", "steps = [13]", "line 22: 'line[3].steps' must be a list of whole numbers 1 to 12"),
        ("steps = [11]", "steps = [11, 11]", "must name each number once"),
        ('name = "clear"', 'name = "count"', "line 32: 'line[5].name' 'count' is the name of an earlier line."),
        ('when = "clock"', 'wehn = "clock"', "'line[3].wehn' is unknown. Did you mean 'when'? There are: action, name"),
        ("address_bits = 8", "address_bits = 99", "line 4: 'address_bits' must be 1 to 24, not 99."),
        ("address_bits = 8", "address_bits = true", "must be a whole number, not True."),
        ('title = "A test"', "", "'title' is missing."),
        ('title = "A test"', "title = ", "mine.toml is not TOML: "),
        ('action = "write"', 'action = "rite"',
         "must be one of drive, write, count, clear, copy, release, lamp, not rite."),
        ('name = "count"\naction = "count"', 'name = "count"\naction = "copy"',
         "needs one line with action = \"count\", not 0"),
        ('[[line]]\nname = "clear"',
         '[[line]]\nname = "second"\naction = "copy"\nsteps = [12]\n\n[[line]]\nname = "clear"',
         'needs one line with action = "copy" and one with "release", or neither, not 1 and 0.'),
    ],
)  # fmt: skip
def test_bad_tables_are_refused_with_their_place(tmp_path: Path, old: str, new: str, said: str) -> None:
    assert READY.count(old) >= 1
    with pytest.raises(UsageError) as caught:
        load(tmp_path, READY.replace(old, new, 1))
    assert said in str(caught.value)
    assert str(caught.value).startswith("mine.toml")
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("source", "said"),
    [
        ("no_such", r"there is no 'no_such' among the tables\. There are: clock_tower"),
        ("clock_towr", r"among the tables\. Did you mean 'clock_tower'\? There are: clock_tower"),
        ("/no/such.toml", "relays: table '/no/such.toml': there is no such file: there is no folder '/no'"),
    ],
)
def test_absent_tables_are_refused(source: str, said: str) -> None:
    with pytest.raises(UsageError, match=said):
        load_table(source)


def test_files_that_are_no_text_are_refused(tmp_path: Path) -> None:
    (tmp_path / "noise.toml").write_bytes(b"\xff\xfe\x00\x81")
    with pytest.raises(UsageError, match=r"noise\.toml is not TOML: it is not text"):
        load_table(str(tmp_path / "noise.toml"))


def test_a_program_longer_than_the_address_space_is_refused() -> None:
    table = load_table("clock_tower")
    table.check_program(256)
    table.check_program(16, first_address=240)
    with pytest.raises(UsageError, match="program of 257 bytes from address 0 does not fit 8 address bits"):
        table.check_program(257)
    with pytest.raises(UsageError, match="leave room for 15"):
        table.check_program(16, first_address=241)
    with pytest.raises(UsageError, match="address 256 must be 0 to 255"):
        table.check_program(1, first_address=256)


def changed(name: str, **figures: object) -> Table:
    table = load_table("clock_tower")
    lines = tuple(replace(line, **figures) if line.name == name else line for line in table.lines)  # type: ignore[arg-type]
    return replace(table, lines=lines)


def test_a_use_without_its_settle_step_is_a_hazard() -> None:
    # A dependency needs a settle step between drive and use (common practice).
    found = hazards(changed("write", steps=(10,)), load_set("signal_12v"))
    assert {(h.kind, h.step, h.lines) for h in found} == {
        (SETTLE, 10, ("address out", "write")),
        (SETTLE, 10, ("data out", "write")),
    }
    found = hazards(changed("data out", steps=(11,)), load_set("signal_12v"))
    assert [(h.kind, h.step, h.lines) for h in found] == [(SETTLE, 11, ("data out", "write"))]
    assert "in the step that first drives it" in found[0].text
    assert "no step drives" in hazards(changed("write", steps=(12,)), load_set("signal_12v"))[0].text


def test_two_drivers_on_one_bus_are_a_hazard_even_next_to_each_other() -> None:
    table = load_table("clock_tower")
    for steps, where in (((11,), [11]), ((12,), [12]), ((8,), [8]), ((2, 3), [])):
        switches = Line("hand switches", "drive", steps, "step", "data", (), ())
        found = hazards(replace(table, lines=(*table.lines, switches)), load_set("signal_12v"))
        assert [h.step for h in found if h.kind == DRIVERS] == where


def test_shared_wires_without_diodes_are_a_sneak_path() -> None:
    table = changed("data out", steps=(9, 10, 11, 12))
    assert hazards(table, load_set("signal_12v")) == ()
    bare = replace(table, isolation="none")
    found = [h for h in hazards(bare, load_set("signal_12v")) if h.kind == SNEAK]
    assert [(h.step, h.lines[0]) for h in found] == [(12, "address out")]
    assert bare.live_steps(bare.line("address out")) == (9, 10, 11, 12)
    assert bare.live_steps(bare.line("write")) == (11,)


def test_more_lines_than_poles_are_a_hazard() -> None:
    by_poles = replace(load_table("clock_tower"), isolation="poles")
    found = hazards(by_poles, load_set("signal_12v"))  # two poles, one of which holds the relay in
    assert [(h.kind, h.step) for h in found] == [(POLES, 9), (POLES, 10), (POLES, 11)]
    assert hazards(by_poles, load_set("plug_in_12v")) == ()
