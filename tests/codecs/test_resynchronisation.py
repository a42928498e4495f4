"""What a splice costs a whole recording: the blocks it goes through, and nothing after them."""

import numpy as np
import pytest
import tapewright
from tapewright.contracts.signal import Signal

RATE = 44_100
PROGRAM = np.random.default_rng(1).bytes(1500)
STACKS = {
    "biphase": "contents/frame:block_bytes=64/biphase:bit_rate_hz=2205,tracks={}",
    "mfm": "contents/frame:block_bytes=64/mfm:bit_rate_hz=2205,tracks={}",
    "group": "contents/frame:block_bytes=64/group:bit_rate_hz=2520,tracks={}",
    "pulse width": "contents/frame:block_bytes=64/pulse_width:bit_rate_hz=1050,tracks={}",
}


def spliced(samples, at, frames):
    """``frames`` taken out from ``at`` on, or as many doubled if below 0."""
    return np.concatenate((samples[:, :at], samples[:, at + frames :]), axis=1)


def failing_blocks(decoded):
    return {str(event).split("block ")[1].split(" of")[0] for event in decoded.events if "frame: block" in str(event)}


@pytest.mark.parametrize("tracks", ["same", "split"])
@pytest.mark.parametrize("stack", STACKS)
@pytest.mark.parametrize("cells", [-3.0, -1.0, -0.5, 0.5, 1.0, 2.0])
def test_a_slip_is_made_good_within_a_block(stack, tracks, cells):
    """At four places of the tape a splice takes out or doubles some bit cells, whole and half ones: no more than two
    blocks around each fail their check, all others are read where they stand.
    """
    codec = tapewright.codec(STACKS[stack].format(tracks))
    tape = codec.encode(PROGRAM)
    at = [int(tape.frames * share) for share in (0.35, 0.5, 0.65, 0.8)]
    samples = tape.samples
    for place in reversed(at):
        samples = spliced(samples, place, round(cells * RATE / codec.line_code.bit_rate_hz))
    decoded = codec.decode(Signal(samples, RATE))
    assert len(failing_blocks(decoded)) <= 2 * len(at)
    wrong = np.frombuffer(decoded.payload.ljust(1500, b"\0")[:1500], np.uint8) != np.frombuffer(PROGRAM, np.uint8)
    assert wrong.sum() <= 2 * len(at) * 64


@pytest.mark.parametrize("cells", [-3.0, -0.5, 0.5, 1.0, 40.0, 900.0])
def test_with_correction_a_slip_anywhere_costs_nothing(cells):
    """A splice at every twentieth of the data: 12 of 18 blocks and more stay sound, a quarter of each word is spare."""
    codec = tapewright.codec(
        "contents/rs:parity_bytes=96/interleave:depth=30/frame:block_bytes=64/biphase:tracks=split"
    )
    payload = PROGRAM[:900]
    tape = codec.encode(payload)
    for share in np.linspace(0.3, 0.9, 13):
        cut = round(cells * RATE / codec.line_code.bit_rate_hz)
        samples = spliced(tape.samples, int(tape.frames * share), min(cut, int(tape.frames * (1 - share))))
        decoded = codec.decode(Signal(samples, RATE))
        assert (decoded.payload == payload, decoded.intact) == (True, True)
