"""A line code: one cycle of a sine a bit, turned over for a zero, on both tracks."""

from dataclasses import dataclass

import numpy as np
from tapewright.contracts.errors import UsageError
from tapewright.contracts.line_code import LineCode
from tapewright.contracts.parameters import parameter
from tapewright.contracts.preset import Preset
from tapewright.contracts.signal import Signal
from tapewright.contracts.soft_bits import SoftBits

TURNING_THRICE = Preset("turning-thrice", "thrice/turning_sine", "Every bit three times over.")
PAUSE_S = 0.1


@dataclass(frozen=True)
class TurningSine(LineCode):
    """Starts at the first sound after the pause; a cell without sound ends it."""

    name = "turning_sine"
    summary = "One cycle a bit, turned over for a zero."
    needs = "computer"

    tone_hz: float = parameter(1000.0, "One cycle of it is one bit.", unit="Hz", low=100, high=4000)

    @property
    def tolerates(self) -> frozenset[str]:
        return frozenset({"swapped_tracks"})

    def duration_s(self, bits: int) -> float:
        return 2 * PAUSE_S + bits / self.tone_hz

    def modulate(self, bits, sample_rate_hz=44_100):
        if sample_rate_hz < 8 * self.tone_hz:
            raise UsageError(f"Argument 'sample_rate_hz' must be at least 8 times tone_hz, not {sample_rate_hz}.")
        phase = (
            np.arange(round(self.duration_s(bits.size) * sample_rate_hz)) / sample_rate_hz - PAUSE_S
        ) * self.tone_hz
        cell = np.floor(phase).astype(int)
        sounds = (cell >= 0) & (cell < bits.size)
        signs = np.zeros(phase.size)
        signs[sounds] = np.where(bits[cell[sounds]] > 0, 1.0, -1.0)
        return Signal(0.8 * signs * np.sin(2 * np.pi * phase), sample_rate_hz)

    def demodulate(self, signal):
        sound = signal.samples.astype(np.float64).mean(axis=0)
        loud = np.flatnonzero(np.abs(sound) > 0.02)
        if loud.size == 0:
            return SoftBits([])
        cell = signal.sample_rate_hz / self.tone_hz
        starts = max(loud[0] - 1, 0) + cell * np.arange(int((signal.frames - loud[0] + 2) // cell))
        if cell < 4 or starts.size == 0:
            return SoftBits([])
        model = np.sin(2 * np.pi * (np.arange(int(cell)) + 0.5) / cell)
        places = np.minimum(starts.astype(int)[:, None] + np.arange(int(cell)), signal.frames - 1)
        told = np.clip(sound[places] @ model / cell * 20, -20, 20)
        quiet = np.flatnonzero(np.abs(told) < 1)
        count = int(quiet[0]) if quiet.size else told.size
        return SoftBits(told[:count], (starts[:count] + cell / 2) / signal.sample_rate_hz)
