"""Print-through: the layers of the pack magnetise each other, and a loud sound is heard a turn early and late."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import ClassVar, Self

import numpy as np
from numpy.typing import NDArray

from ..contracts.channel_model import Calibration, Treatment
from ..contracts.parameters import parameter
from ..contracts.signal import Signal
from .reading import RATE_HZ, phasor
from .reels import TAPE_UM, turns_per_s
from .tape_loss import TAPE_SPEED_MM_PER_S

OFF_DB = -200.0
STRONGEST_HZ = 1000 * TAPE_SPEED_MM_PER_S / (2 * math.pi * TAPE_UM)
"""Waves as long as 2 pi times the thickness print most: x exp(-x) is largest at x = 1 (common practice)."""

_PIECE_FRAMES = 4 * 4096
_PROBE_HZ = 445.0
_BURST_S = 0.4


@dataclass(frozen=True)
class PrintThrough(Treatment):
    """An echo one turn of the pack before and one after, each of ``level_db`` where it is strongest.

    The tape was stored wound back: the packs are as thick as the tape still to come. Away from 446 Hz the echoes are
    weaker, by 6 dB an octave in the end.
    """

    name = "print_through"
    summary = "echoes from the neighbouring turns of the pack"
    place = "tape"
    exemptions: ClassVar[dict[str, str]] = {
        "longer_tape_starts_the_same": "what stands on the next turn is heard before it comes"
    }

    level_db: float = parameter(-48.0, "each echo re its sound; -200 is none", unit="dB", low=OFF_DB, high=0.0)
    left_s: float = parameter(
        1800.0, "playing time of the tape that is still to come at the start", unit="s", low=0.0, high=4000.0
    )

    @classmethod
    def nothing(cls) -> Self:
        return cls(level_db=OFF_DB)

    @property
    def idle(self) -> bool:
        return self.level_db <= OFF_DB

    def turn_s(self, times_s: NDArray[np.float64]) -> NDArray[np.float64]:
        """How long a turn of the pack plays, where ``times_s`` after the start is."""
        return np.asarray(1 / turns_per_s(self.left_s - times_s))

    def treat(self, samples: NDArray[np.float32], sample_rate_hz: int, rng: np.random.Generator) -> None:
        from ..kernels.echo import STEP_FRAMES, add_echoes
        from ..kernels.filters import PIECE_FRAMES

        left, right = samples
        pieces = -(-left.size // PIECE_FRAMES)
        steps = STEP_FRAMES * np.arange(pieces * PIECE_FRAMES // STEP_FRAMES + 1)
        turns = sample_rate_hz * self.turn_s(steps / sample_rate_hz)
        add_echoes(left, right, turns, _coefficients(sample_rate_hz, 10 ** (self.level_db / 20)))

    @classmethod
    def calibrations(cls) -> tuple[Calibration, ...]:
        reason = "the resonance is a hertz off its middle, the echo of the echo 40 dB below: 0.09 dB"
        return tuple(
            Calibration("level_db", cls(level_db=-40.0), _burst_at(4.0), reading, -40.0, 0.1, reason)
            for reading in (_early_db, _late_db)
        )


def _coefficients(sample_rate_hz: int, gain: float) -> NDArray[np.float64]:
    """A resonance with Q 1/2 at the strongest frequency, by the bilinear transform."""
    w = math.tan(math.pi * min(STRONGEST_HZ / sample_rate_hz, 0.45))
    scale = 1 / (1 + 2 * w + w * w)
    return np.array([2 * w * gain * scale, 0.0, -2 * w * gain * scale, 2 * (w * w - 1) * scale, (1 - w) ** 2 * scale])


def _burst_at(middle_s: float) -> Signal:
    times_s = np.arange(8 * RATE_HZ) / RATE_HZ
    burst = np.where(np.abs(times_s - middle_s) < _BURST_S, np.sin(2 * np.pi * _PROBE_HZ * times_s), 0.0)
    return Signal(burst, RATE_HZ)


def _echo_db(signal: Signal, middle_s: float) -> float:
    half = round(_BURST_S / 2 * RATE_HZ)
    at = round(middle_s * RATE_HZ)
    return float(
        20 * np.log10(abs(phasor(signal.samples[0, at - half : at + half].astype(np.float64), _PROBE_HZ, RATE_HZ)))
    )


def _early_db(signal: Signal) -> float:
    return _echo_db(signal, 4.0 - PrintThrough().turn_s(np.array(4.0)).item())


def _late_db(signal: Signal) -> float:
    return _echo_db(signal, 4.0 + PrintThrough().turn_s(np.array(4.0)).item())
