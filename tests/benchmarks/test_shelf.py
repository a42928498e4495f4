"""The shelf keeps recordings while they fit."""

import pytest
from tapewright.benchmarks.shelf import Shelf
from tapewright.contracts import registry

pytestmark = pytest.mark.usefixtures("toys")

PROGRAM = bytes(100)
ONE_TAPE_BYTES = 8 * 100 * 8
"""Two tracks of float32, one frame a bit."""


def test_a_recording_stands_until_others_need_the_room() -> None:
    short, checked, long = (registry.codec(spec) for spec in ("toy_pulse", "toy-checked", "toy_pulse:frames=3"))
    shelf = Shelf(PROGRAM, 44_100, most_bytes=2 * ONE_TAPE_BYTES + 16)
    first = shelf.tape(short)
    assert shelf.tape(checked) is shelf.tape(checked)
    assert shelf.tape(short) is first
    shelf.tape(registry.codec("toy_parity/toy-checked"))  # a third: the one unused for the longest makes room
    assert shelf.tape(short) is first
    assert shelf.tape(long) == shelf.tape(long)
    assert shelf.tape(long) is not shelf.tape(long)  # larger than all the room there is
    assert shelf.tape(short) is first  # and it drives nobody out
