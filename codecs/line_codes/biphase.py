"""Biphase: one line that carries its own clock, in the variants mark, space and level.

On the tape: a leader, a start mark of 32 bits, the data, a run-out of leader bits, silence. The leader repeats the
bit that makes no change inside a cell (level: alternating bits), so that the cells can be told from their halves.

Detection: every cell of mark and space begins with a change of level, so around each cell's edge the waveform is an
antipodal pulse (s, -s), and a bit says whether two neighbouring pulses have one sign. The two-state forward-backward
pass collapses to that comparison, exactly. Bit error rate in white noise: 2p(1-p) with p = Q(sqrt(2 Eb/N0)) for mark
and space (coherent detection of a differential code), Q(sqrt(2 Eb/N0)) for level, Eb with square edges.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from ...contracts.bits import Bits
from ...contracts.decoded import Event
from ...contracts.errors import UsageError
from ...contracts.line_code import LineCode
from ...contracts.parameters import parameter
from ...contracts.signal import Signal
from ...contracts.soft_bits import SoftBits
from .level_drawing import draw_levels, levels_on, recorded
from .pulse_detection import likelihoods, same_sign, together
from .start_mark import CONTEXT, START_BITS, data_begin, earliest, from_the_marks
from .transition_clock import Clock, recover

RUN_OUT = 8
"""Leader bits after the data, so that the clock holds to the last bit."""

FEWEST_FRAMES_A_CELL = 4
"""Two frames a half cell: an edge and a level."""

FEWEST_LEADER_CELLS = 32
"""However short the leader is asked to be: what the start mark is looked for with, and some to lose."""

SETTLING = 32
"""Cells around a dropout that may be lost with it."""

_MEMORY_S = 0.25
"""How far to look for the usual amplitude: several times the dropouts that a check can mend."""


@dataclass(frozen=True)
class Biphase(LineCode):
    """Biphase mark, space or level on one track, on both alike, or split over both."""

    name: ClassVar[str] = "biphase"
    summary: ClassVar[str] = "Self-clocking: a change of level in every bit cell; mark, space or level."
    needs: ClassVar[str] = "microcontroller"

    bit_rate_hz: float = parameter(1200.0, "Bits a second on each track in use.", unit="Hz", low=50, high=8000)
    variant: str = parameter(
        "mark",
        "mark: change at every cell edge, one more inside a 1; space: inside a 0; level: change inside every cell.",
        choices=("mark", "space", "level"),
    )
    first_half: str = parameter(
        "high", "Level only: the first half of a 1 (high: Thomas; low: IEEE 802.3).", choices=("high", "low")
    )
    tracks: str = parameter(
        "same",
        "Same on both, left or right alone, or split: even bits left, odd right.",
        choices=("same", "left", "right", "split"),
    )
    level_db: float = parameter(-1.0, "Peak level re full scale.", unit="dB", low=-60, high=0)
    leader_s: float = parameter(1.0, "Leader before the data, at least 32 bits.", unit="s", low=0.1, high=60)
    tail_s: float = parameter(0.25, "Silence after the data.", unit="s", low=0, high=60)
    edge_share: float = parameter(0.25, "Length of a raised-sine edge as a share of a half cell.", low=0, high=1)

    @property
    def tolerates(self) -> frozenset[str]:
        """Polarity always: mark and space do not carry it, level reads it off the start mark. The same data on both
        tracks is blind to which is which.
        """
        return frozenset({"polarity", "swapped_tracks"} if self.tracks == "same" else {"polarity"})

    def duration_s(self, bits: int) -> float:
        """Length of the recording of that many bits, leader and tail included."""
        return self._cells(bits) / self.bit_rate_hz + self.tail_s

    def bearable_s(self, bits: int) -> float:
        """All but the cells on which a clock that comes back must settle."""
        return max(bits // (2 if self.tracks == "split" else 1) - SETTLING, 0) / self.bit_rate_hz

    def modulate(self, bits: Bits, sample_rate_hz: int = 44_100) -> Signal:
        """The recording of ``bits``.

        Raises:
            UsageError: fewer than 4 frames a bit cell.
        """
        if sample_rate_hz < FEWEST_FRAMES_A_CELL * self.bit_rate_hz:
            raise UsageError(
                f"Argument 'sample_rate_hz' must be at least 4 times bit_rate_hz, {4 * self.bit_rate_hz:g}, "
                f"not {sample_rate_hz}."
            )
        frames = round(self.duration_s(bits.size) * sample_rate_hz)

        def draw(track: NDArray[np.float32], bits: Bits) -> None:
            halves = self._on_tape(bits) * np.float32(10 ** (self.level_db / 20))
            draw_levels(track, halves, sample_rate_hz / self.level_rate_hz, self.edge_share)

        return recorded(bits, self.tracks, draw, frames, sample_rate_hz)

    def demodulate(self, signal: Signal) -> SoftBits:
        """What was heard, from the first bit after the start mark; everything heard if there is no mark."""
        if signal.sample_rate_hz < FEWEST_FRAMES_A_CELL * self.bit_rate_hz:
            return SoftBits([], events=(Event("too few samples a second for this bit rate"),))
        used = {"left": (0,), "right": (1,)}.get(self.tracks, (0, 1))
        clock = recover(signal, used, self.bit_rate_hz, alike=self.tracks == "same")
        if clock.times.size < 2:
            return SoftBits([], events=(Event("no biphase signal heard"),))
        rate = signal.sample_rate_hz
        told: list[Event] = []
        pulses = _pulses(signal, used, clock, max(128, round(_MEMORY_S * self.bit_rate_hz)))
        times_s = clock.times / rate
        if self.variant != "level":
            times_s = times_s[1:] + times_s[:-1]
            times_s *= 0.5
        if self.tracks == "same":
            pulses = [together(*pulses)]
        streams = [self._bits(ratios) for ratios in pulses]
        marks = [data_begin(stream, self._leader(CONTEXT)) for stream in streams]
        if self.variant == "level" and not any(marks):
            inverted = [data_begin(-stream, self._leader(CONTEXT)) for stream in streams]
            if any(inverted):
                told.append(Event("polarity is inverted"))
                streams, marks = [-stream for stream in streams], inverted
        start = earliest(marks)
        first = 0 if start is None else start - self._leader_cells - START_BITS.size
        return from_the_marks(streams, marks, times_s, [*clock.told(rate, self.bit_rate_hz, first), *told])

    @property
    def level_rate_hz(self) -> float:
        """See ``Levelled``: two half cells a bit."""
        return 2 * self.bit_rate_hz

    def levels(self, bits: Bits) -> tuple[NDArray[np.int8], NDArray[np.int8]]:
        """See ``Levelled``."""
        return levels_on(bits, self.tracks, self._on_tape)

    def _on_tape(self, bits: Bits) -> NDArray[np.float32]:
        """Levels of a track that carries ``bits``."""
        leader, run_out = self._leader(self._leader_cells), self._leader(RUN_OUT)
        return self._half_cells(np.concatenate((leader, START_BITS, bits, run_out)))

    def _cells(self, bits: int) -> int:
        data = -(-bits // 2) if self.tracks == "split" else bits
        return self._leader_cells + START_BITS.size + data + RUN_OUT

    @property
    def _leader_cells(self) -> int:
        return max(round(self.leader_s * self.bit_rate_hz), FEWEST_LEADER_CELLS)

    def _leader(self, cells: int) -> Bits:
        """The last ``cells`` bits of a leader."""
        if self.variant == "level":
            return np.asarray((np.arange(cells) + cells) % 2, np.uint8)
        return np.full(cells, self.variant == "space", np.uint8)

    def _half_cells(self, bits: Bits) -> NDArray[np.float32]:
        """Levels +-1 of the half cells, shape (2 n,), the level before the first cell being low."""
        ones = bits.astype(np.bool_)
        if self.variant == "level":
            first = ones if self.first_half == "high" else ~ones
            second = ~first
        else:
            kept = np.logical_not(ones) if self.variant == "mark" else ones
            # High where an odd number of bits so far, this one too, has kept the level inside its cell.
            second = np.bitwise_xor.accumulate(kept)
            first = np.concatenate(([True], ~second[:-1]))
        levels = np.empty((bits.size, 2), np.float32)
        levels[:, 0], levels[:, 1] = first, second
        levels *= 2
        levels -= 1
        return levels.ravel()

    def _bits(self, pulses: NDArray[np.float32]) -> NDArray[np.float32]:
        if self.variant == "level":
            return pulses if self.first_half == "high" else -pulses
        return same_sign(pulses) if self.variant == "mark" else -same_sign(pulses)


def _pulses(signal: Signal, used: tuple[int, ...], clock: Clock, memory: int) -> list[NDArray[np.float32]]:
    from ...kernels.change_readings import changes

    ratios = []
    for place, track in enumerate(used):
        side = 0.0 if len(used) == 1 else place - 0.5
        falls = np.empty(clock.times.size, np.float32)
        changes(signal.samples[track], clock.times, clock.lags, side, falls)
        ratios.append(likelihoods(falls, memory))
    return ratios
