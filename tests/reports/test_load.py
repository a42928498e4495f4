"""What a load is worth, as far as anybody can know."""

from __future__ import annotations

import json

import pytest
from tapewright.contracts.decoded import Decoded, Event
from tapewright.reports.load import MOST_LINES, Load


@pytest.mark.parametrize(
    ("load", "faults", "vouchers"),
    [
        (Load(Decoded(b"ab", True)), (), ("its check holds",)),
        (Load(Decoded(b"", True)), (), ("its check holds",)),
        (Load(Decoded(b"ab", None)), (), ()),
        (Load(Decoded(b"ab", False)), ("its check fails",), ()),
        (Load(Decoded(b"", None)), ("no byte was heard",), ()),
        (Load(Decoded(b"", False)), ("its check fails",), ()),
        (Load(Decoded(b"ab", None, (1,))), ("1 of 2 bytes are known lost",), ()),
        (Load(Decoded(b"ab", None, (1,)), b"ab"), (), ("it is as expected",)),
        (Load(Decoded(b"ab", None, (1,)), None, True), (), ("it fits the check on the recording's label",)),
        # Equal bytes under a check that fails are no right load (the third law): nobody could have known.
        (Load(Decoded(b"ab", False), b"ab"), ("its check fails",), ()),
        (Load(Decoded(b"ab", None), b"ac"), ("1 of 2 bytes are not as expected",), ()),
        (Load(Decoded(b"ab", True), b"ac"), ("1 of 2 bytes are not as expected",), ()),
        (Load(Decoded(b"ab", None), None, False), ("it does not fit the check on the recording's label",), ()),
        (
            Load(Decoded(b"abX", False, (0,)), b"ab", False),
            (
                "its check fails",
                "1 of 3 bytes are known lost",
                "it does not fit the check on the recording's label",
                "1 of 2 bytes are not as expected",
            ),
            (),
        ),
    ],
)
def test_faults_and_vouchers(load: Load, faults: tuple[str, ...], vouchers: tuple[str, ...]) -> None:
    assert load.faults == faults
    assert load.vouchers == vouchers
    assert json.loads(json.dumps(load.to_json()))["faults"] == list(faults)


def test_events_are_told_in_the_order_of_the_tape_and_those_without_a_place_last() -> None:
    load = Load(Decoded(b"a", None, (), (Event("whole"), Event("late", 2.0), Event("early", 1.0))))
    assert [line.split()[-1] for line in load.lines()] == ["early", "late", "whole"]


def test_long_lists_are_shortened_and_say_so() -> None:
    load = Load(Decoded(b"a", None, (), tuple(Event(f"{i}", float(i)) for i in range(MOST_LINES + 7))))
    assert len(load.lines()) == MOST_LINES + 1
    assert load.lines()[-1] == "and 7 more (--json tells all)"
    assert len(load.to_json()["events"]) == MOST_LINES + 7
