"""Three outcomes and byte errors, counted in whole tapes."""

import random

import pytest
from tapewright.benchmarks.tally import Tally, score
from tapewright.contracts.decoded import Decoded, Event

PAYLOAD = b"noon"

RIGHT, DETECTED, SILENT = "right", "detected", "silent"


@pytest.mark.parametrize(
    ("heard", "intact", "lost", "outcome", "byte_errors"),
    [
        (b"noon", True, (), RIGHT, 0),
        (b"noon", None, (), RIGHT, 0),
        (b"noon", None, (1,), RIGHT, 0),
        (b"noon", True, (1,), RIGHT, 0),
        (b"noon", False, (), DETECTED, 0),
        (b"moon", False, (), DETECTED, 1),
        (b"moon", None, (0,), DETECTED, 1),
        (b"moon", True, (0,), DETECTED, 1),
        (b"moon", True, (), SILENT, 1),
        (b"moon", None, (), SILENT, 1),
        (b"noon!", None, (), SILENT, 0),
        (b"noon!", True, (4,), DETECTED, 0),
        (b"no", None, (), SILENT, 2),
        (b"no", False, (), DETECTED, 2),
        (b"mo", None, (), SILENT, 3),
        (b"", None, (), SILENT, 4),
        (b"", False, (), DETECTED, 4),
        (b"\0\0\0\0\0\0", None, (0, 1), DETECTED, 4),
    ],
)
def test_every_tape_ends_in_exactly_one_of_three_ways(heard, intact, lost, outcome, byte_errors) -> None:
    tally = score(PAYLOAD, Decoded(heard, intact, lost, (Event("not counted"),)))
    assert {name: getattr(tally, name) for name in (RIGHT, DETECTED, SILENT)} == {
        name: int(name == outcome) for name in (RIGHT, DETECTED, SILENT)
    }
    assert tally.trials == 1
    assert tally.byte_errors == byte_errors
    assert tally.byte_errors_squared == byte_errors**2
    assert tally.tapes_with_byte_errors == (byte_errors > 0)
    assert tally.tapes_wholly_wrong == (byte_errors == len(PAYLOAD))


def test_tallies_sum_the_same_in_any_order_and_any_grouping() -> None:
    draw = random.Random(5)
    tapes = [score(PAYLOAD, Decoded(bytes(draw.choices(b"mno", k=draw.randint(0, 5))), None)) for _ in range(50)]
    whole = sum(tapes, Tally())
    draw.shuffle(tapes)
    assert sum(tapes[:20], Tally()) + sum(tapes[20:], Tally()) == whole
    assert whole.trials == whole.right + whole.detected + whole.silent == 50
