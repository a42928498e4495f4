"""Codes of words of cells on two levels, where a 1 on the tape is a change of level (NRZI): what they have in common.

On the tape: a leader of ones, a start mark of 32 bits, the data filled up to whole words with zeros, a run-out of
ones, silence.
"""

from __future__ import annotations

from abc import abstractmethod
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from ...contracts.bits import Bits
from ...contracts.errors import UsageError
from ...contracts.line_code import LineCode
from ...contracts.parameters import parameter
from ...contracts.signal import Signal
from ...contracts.soft_bits import SoftBits
from .level_drawing import draw_levels, levels_on, recorded
from .start_mark import START_BITS
from .word_trellis import WordTrellis

RUN_OUT = 8
"""Bits after the data, so that the clock holds to the last bit."""

FEWEST_LEADER_BITS = 96
"""However short the leader is asked to be: enough for a clock that is sure, with the mark even if no data follow."""

SETTLING_WORDS = 64
"""Words around a dropout that may be lost with it."""

FEWEST_FRAMES_A_CELL = 2.75
"""Two for an edge and a level would do on an ideal deck; with a speed error of 8 % and wow it takes some more."""


@dataclass(frozen=True)
class Nrzi(LineCode):
    """Base of the codes whose cells begin with a change of level or without.

    Class attributes:
        trust: what a cell's likelihood counts for. Below 1 where a bit hangs on cells much shorter than itself, whose
            noise has more in common than is known (measured on worn tapes).
    """

    needs: ClassVar[str] = "microcontroller"
    trust: ClassVar[float] = 1.0

    bit_rate_hz: float = parameter(2400.0, "Bits a second on each track in use.", unit="Hz", low=50, high=10_000)
    tracks: str = parameter(
        "same",
        "Same on both, left or right alone, or split: even bits left, odd right.",
        choices=("same", "left", "right", "split"),
    )
    level_db: float = parameter(-1.0, "Peak level re full scale.", unit="dB", low=-60, high=0)
    leader_s: float = parameter(1.0, "Leader before the data, at least 96 bits.", unit="s", low=0.1, high=60)
    tail_s: float = parameter(0.25, "Silence after the data.", unit="s", low=0, high=60)
    edge_share: float = parameter(0.25, "Length of a raised-sine edge as a share of a cell.", low=0, high=1)

    @property
    @abstractmethod
    def trellis(self) -> WordTrellis:
        """What a word may be."""

    @abstractmethod
    def changes(self, bits: Bits) -> Bits:
        """The cells of whole words, 1 where one begins with a change; what comes before was a 1."""

    @property
    def tolerates(self) -> frozenset[str]:
        """Polarity always, since only changes count. The same data on both tracks is blind to which is which."""
        return frozenset({"polarity", "swapped_tracks"} if self.tracks == "same" else {"polarity"})

    @property
    def cell_rate_hz(self) -> float:
        """Cells a second on each track."""
        return self.bit_rate_hz * self.trellis.cells_a_word / self.trellis.bits_a_word

    def duration_s(self, bits: int) -> float:
        """Length of the recording of that many bits, leader and tail included."""
        data = -(-bits // 2) if self.tracks == "split" else bits
        return (self.leader_bits + START_BITS.size + self._whole(data) + RUN_OUT) / self.bit_rate_hz + self.tail_s

    def bearable_s(self, bits: int) -> float:
        """All but the words on which the clock must settle and the place of the words be found again."""
        cells = bits // (2 if self.tracks == "split" else 1) - SETTLING_WORDS * self.trellis.bits_a_word
        return max(cells, 0) / self.bit_rate_hz

    def modulate(self, bits: Bits, sample_rate_hz: int = 44_100) -> Signal:
        """The recording of ``bits``.

        Raises:
            UsageError: fewer than 2.75 frames a cell.
        """
        if sample_rate_hz < FEWEST_FRAMES_A_CELL * self.cell_rate_hz:
            raise UsageError(
                f"Argument 'sample_rate_hz' must be at least {FEWEST_FRAMES_A_CELL * self.cell_rate_hz:g} for "
                f"{self.cell_rate_hz:g} cells a second, not {sample_rate_hz}."
            )

        def draw(track: NDArray[np.float32], bits: Bits) -> None:
            levels = self._levels(bits) * np.float32(10 ** (self.level_db / 20))
            draw_levels(track, levels, sample_rate_hz / self.cell_rate_hz, self.edge_share)

        return recorded(bits, self.tracks, draw, round(self.duration_s(bits.size) * sample_rate_hz), sample_rate_hz)

    def demodulate(self, signal: Signal) -> SoftBits:
        """What was heard, from the first bit after the start mark; everything heard if there is no mark."""
        from .nrzi_decoder import demodulate

        return demodulate(self, signal)

    @property
    def level_rate_hz(self) -> float:
        """See ``Levelled``: a level a cell."""
        return self.cell_rate_hz

    def levels(self, bits: Bits) -> tuple[NDArray[np.int8], NDArray[np.int8]]:
        """See ``Levelled``."""
        return levels_on(bits, self.tracks, self._levels)

    def _levels(self, bits: Bits) -> NDArray[np.float32]:
        """Levels of a track that carries ``bits``."""
        return -np.cumprod(1.0 - 2.0 * self.changes(self._on_tape(bits))).astype(np.float32)

    @property
    def leader_bits(self) -> int:
        """Length of the leader."""
        return self._whole(max(round(self.leader_s * self.bit_rate_hz), FEWEST_LEADER_BITS))

    def _whole(self, bits: int) -> int:
        return bits + -bits % self.trellis.bits_a_word

    def _on_tape(self, bits: Bits) -> Bits:
        filled = np.concatenate((bits, np.zeros(self._whole(bits.size) - bits.size, np.uint8)))
        return np.concatenate((np.ones(self.leader_bits, np.uint8), START_BITS, filled, np.ones(RUN_OUT, np.uint8)))
