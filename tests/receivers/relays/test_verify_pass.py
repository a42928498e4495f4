"""The verify pass: a second play against memory, to the first difference."""

import numpy as np
import pytest
from tapewright.contracts.errors import UsageError
from tapewright.contracts.registry import codec, receiver
from tapewright.contracts.signal import Signal
from tapewright.contracts.streams import stream

STACK = codec("clocked:line_up_s=0.5")
PAYLOAD = bytes((0x5A, 0xC3, 0x0F, 0x99))


def with_a_hole(byte: int, track: int, step: int) -> Signal:
    """The tape without one burst."""
    tape, keying = STACK.encode(PAYLOAD), STACK.line_code.keying()  # type: ignore[attr-defined]
    start = keying.first_step_s + byte * keying.seconds_a_byte + keying.mark_extra_s + step * keying.step_s
    samples = tape.samples.copy()
    samples[track, round(start * 44_100) : round((start + keying.step_s) * 44_100)] = 0.0
    return Signal(samples, 44_100)


def verified(first: Signal, second: Signal, seed: int = 7):
    return receiver("relays").verified(STACK, first, second, stream(seed, 0, "receiver"))


def test_two_equal_plays_agree() -> None:
    found = verified(STACK.encode(PAYLOAD), STACK.encode(PAYLOAD))
    assert found.agrees
    assert (found.compared, found.missed, found.difference) == (4, (), None)


@pytest.mark.parametrize("damaged_first", [True, False])
def test_it_stops_at_the_first_difference_whichever_play_was_damaged(damaged_first: bool) -> None:
    clean, damaged = STACK.encode(PAYLOAD), with_a_hole(1, 1, 6)  # C3 = 11000011: bit 7 of it is lost
    found = verified(damaged, clean) if damaged_first else verified(clean, damaged)
    assert not found.agrees
    assert (found.compared, found.missed) == (1, (1, 2, 3))
    assert found.difference is not None
    kept, heard = (0xC1, 0xC3) if damaged_first else (0xC3, 0xC1)
    assert (found.difference.address, found.difference.kept, found.difference.heard) == (1, kept, heard)
    assert f"address 1: memory holds {kept:02X}, the tape says {heard:02X}" in str(found.difference)


def test_what_is_wrong_on_the_tape_agrees_with_itself() -> None:
    assert verified(with_a_hole(1, 1, 6), with_a_hole(1, 1, 6)).agrees


def test_a_second_play_that_ends_early_or_goes_on_does_not_agree() -> None:
    shorter, longer = STACK.encode(PAYLOAD[:2]), STACK.encode(PAYLOAD)
    assert verified(longer, shorter).missed == (2, 3)
    more = verified(shorter, longer).difference
    assert more is not None
    assert (more.address, more.kept) == (2, None)


def test_it_refuses_what_the_machine_cannot_follow() -> None:
    silence = Signal(np.zeros((2, 0), np.float32), 44_100)
    with pytest.raises(UsageError, match="relays"):
        receiver("relays").verified(codec("biphase"), silence, silence, np.random.default_rng(0))  # type: ignore[attr-defined]
