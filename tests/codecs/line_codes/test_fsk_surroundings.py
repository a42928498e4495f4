"""Characters alone: what stands before and after them on a capture is left out."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from tapewright.codecs.line_codes.fsk import Fsk
from tapewright.contracts.bits import from_bytes
from tapewright.contracts.signal import Signal

PROGRAM = np.random.default_rng(8).bytes(40)
RATE_HZ = 22_050


def heard(samples: NDArray[np.float64]) -> bytes:
    return np.packbits(Fsk().demodulate(Signal(samples, RATE_HZ)).bits).tobytes()


def tape() -> NDArray[np.float64]:
    return Fsk().modulate(from_bytes(PROGRAM), RATE_HZ).samples.astype(np.float64)


@pytest.mark.parametrize("noise", [0.0, 0.003, 0.05])
def test_silence_and_hiss_hold_no_characters(noise: float) -> None:
    rng = np.random.default_rng(1)
    around = np.zeros((2, 3 * RATE_HZ))
    samples = np.concatenate([around, tape(), around], 1)
    assert heard(samples + noise * rng.standard_normal(samples.shape)) == PROGRAM


def test_a_slide_of_tones_before_and_after_holds_no_characters() -> None:
    # A sweep through both tones, back and forth, passes for marks and spaces now and then.
    place = np.arange(4 * RATE_HZ) / RATE_HZ
    phase = 2 * np.pi * (1700 * place + 900 / (2 * np.pi * 7) * np.sin(2 * np.pi * 7 * place))
    sweep = np.broadcast_to(0.6 * np.sin(phase), (2, place.size))
    assert heard(np.concatenate([sweep, tape(), sweep], 1)) == PROGRAM


def test_a_gap_within_the_recording_stays_inside_it() -> None:
    samples = tape()
    first = int((5 + 20 * 11 / 300) * RATE_HZ)
    samples[:, first : first + int(0.1 * RATE_HZ)] *= 0.01
    told = heard(samples)
    assert len(told) == len(PROGRAM)
    assert told[:19] == PROGRAM[:19]
    assert told[24:] == PROGRAM[24:]
