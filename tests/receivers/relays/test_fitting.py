"""Tables fitted to the groups of a stack."""

from dataclasses import replace

import pytest
from tapewright.contracts.errors import UsageError
from tapewright.contracts.registry import codec, receiver
from tapewright.receivers.relays.fitting import fitted, group_layers, load_layers
from tapewright.receivers.relays.hazard import hazards
from tapewright.receivers.relays.relay_set import load_set
from tapewright.receivers.relays.table import load_table
from tapewright.receivers.relays.timing import timing

PLAIN, OVERLAPPED = load_table("clock_tower"), load_table("clock_tower_overlapped")
PARITY = codec("parity/clocked:group_bits=9")


def steps_of(table):
    return {line.name: line.steps for line in table.lines}


def test_bytes_leave_a_table_as_it_is():
    assert fitted(PLAIN, codec("clocked")) == PLAIN
    counted = fitted(PLAIN, codec("ones_count/clocked"))
    assert replace(counted, load_layers=()) == PLAIN
    assert [layer.name for layer in counted.load_layers] == ["ones_count"]


@pytest.mark.parametrize(
    ("spec", "bits", "bit_steps", "steps", "write"),
    [
        ("parity/clocked:group_bits=9", 9, 9, 13, (12,)),
        ("vote/dual_rail:group_bits=24", 24, 24, 28, (27,)),
        ("parity/vote:word_bits=9/dual_rail:group_bits=27", 27, 27, 31, (30,)),
        ("two_tone_rails", 8, 4, 8, (7,)),
        ("parity/two_tone_rails:group_bits=9", 9, 5, 9, (8,)),
    ],
)
def test_later_steps_move_along(spec, bits, bit_steps, steps, write):
    """Bits, steps and the write step by hand: the ready table writes in the third step after its bits."""
    table = fitted(PLAIN, codec(spec))
    assert (table.group_bits, table.bit_steps, table.steps) == (bits, tuple(range(1, bit_steps + 1)), steps)
    assert steps_of(table)["write"] == write
    assert steps_of(table)["data out"] == (write[0] - 2, write[0] - 1, write[0])
    assert ("alarm" in steps_of(table)) == ("parity" in spec)
    assert hazards(table, load_set("signal_12v")) == ()


def test_the_alarm_stands_between_the_last_bit_and_the_write():
    assert steps_of(fitted(PLAIN, PARITY))["alarm"] == (10,)
    hasty = replace(
        PLAIN, lines=tuple(replace(line, steps=(9,)) if line.action == "write" else line for line in PLAIN.lines)
    )
    with pytest.raises(UsageError, match="needs a step between the last bit and 'write' for the alarm"):
        fitted(hasty, PARITY)


def test_a_line_called_alarm_is_not_taken_for_it():
    lit = replace(PLAIN, lines=(*PLAIN.lines, replace(PLAIN.line("count"), name="alarm", action="lamp")))
    table = fitted(lit, PARITY)
    assert [line.name for line in table.acting("alarm")] == ["layer's alarm"]


def test_a_line_held_over_the_end_of_the_bits_stays_whole():
    held = replace(PLAIN, lines=(replace(PLAIN.lines[0], steps=(7, 8, 9, 10, 11)), *PLAIN.lines[1:]))
    assert fitted(held, codec("vote/clocked:group_bits=24")).lines[0].steps == (7, 8, *range(9, 28))


def test_a_second_bank_needs_its_bit_steps():
    wide = fitted(OVERLAPPED, codec("parity/clocked:group_bits=9,extra_steps=2"))
    assert (wide.steps, steps_of(wide)["copy"], steps_of(wide)["alarm"]) == (11, (10,), (10,))
    refusal = receiver("relays:table=clock_tower_overlapped").refusal(codec("two_tone_rails:extra_steps=2"))
    assert refusal == (
        "relays: table 'clock_tower_overlapped' holds 'count' in bit step 5, and a group of this code has only 4."
    )


def test_layers_are_told_apart_by_what_they_see():
    stack = codec("ones_count/parity/clocked:group_bits=9")
    assert [layer.name for layer in group_layers(stack)] == ["parity"]
    assert [layer.name for layer in load_layers(stack)] == ["ones_count"]


def test_timing_knows_the_alarm_and_every_latch_of_a_group():
    code = codec("parity/two_tone_rails:group_bits=9,step_ms=70")
    relays, table = receiver("relays").wiring(code)
    margins = {(margin.path, margin.where) for margin in timing(code.line_code, relays, table).margins}
    assert ("line", "'alarm'") in margins
    assert {where for path, where in margins if path == "latch"} == {f"bit {n}" for n in range(1, 10)}
    assert {where for path, where in margins if path == "spill"} == {f"bit {n}" for n in range(1, 10)}
