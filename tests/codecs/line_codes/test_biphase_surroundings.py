"""Where a biphase signal starts is told from its start mark, not from what beats like a clock before it."""

from __future__ import annotations

import numpy as np
import pytest
from tapewright.codecs.line_codes.biphase import Biphase
from tapewright.contracts.bits import from_bytes
from tapewright.contracts.signal import Signal

PROGRAM = np.random.default_rng(8).bytes(40)
RATE_HZ = 22_050


def test_another_clock_before_the_leader_is_not_its_start() -> None:
    code = Biphase()
    tape = code.modulate(from_bytes(PROGRAM), RATE_HZ).samples
    # A leader of the same code, 3 % fast, cut off half a second before the recording.
    strange = Biphase(bit_rate_hz=1236).modulate(np.zeros(0, np.uint8), RATE_HZ).samples[:, : int(0.8 * RATE_HZ)]
    between = np.zeros((2, RATE_HZ // 2), np.float32)
    heard = code.demodulate(Signal(np.concatenate([strange, between, tape], axis=1), RATE_HZ))
    assert np.packbits(heard.bits).tobytes()[: len(PROGRAM)] == PROGRAM
    starts, speed = heard.events[:2]
    assert starts.what == "signal starts"
    assert starts.time_s == pytest.approx(1.3, abs=0.05)
    assert speed.what in {"speed +0.00 %", "speed -0.00 %"}
    assert not any("clock lost" in event.what for event in heard.events)


def test_a_clock_lost_in_the_recording_is_told() -> None:
    code = Biphase()
    samples = code.modulate(from_bytes(PROGRAM), RATE_HZ).samples.copy()
    samples[:, int(1.15 * RATE_HZ) : int(1.2 * RATE_HZ)] = 0
    heard = code.demodulate(Signal(samples, RATE_HZ))
    (lost,) = [event for event in heard.events if "clock lost" in event.what]
    assert lost.time_s == pytest.approx(1.15, abs=0.02)
