"""Two tones, one for each bit; the defaults are the standard published in BYTE, February 1976, pp. 72-73."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...contracts.bits import Bits
from ...contracts.errors import UsageError
from ...contracts.keying import Burst
from ...contracts.line_code import LineCode
from ...contracts.parameters import parameter
from ...contracts.signal import Signal
from ...contracts.soft_bits import SoftBits

RUN_UP = np.array([0, 1] * 8, np.uint8)
START_WORD = np.array([1, 1, 1, 1, 0, 0, 1, 1, 0, 1, 0, 1, 0, 0, 0, 0], np.uint8)
"""The Barker sequence of length 13, 1111100110101, without its first 1 and with four 0 after it."""
END_WORD: Bits = 1 - START_WORD
STRETCHES_AT_ONCE = 256
"""Line bits made in one go: few enough to stay in the processor's cache."""
_FEW_SHAPES = 64
"""As many different bits are worth finding out which is which."""
_FINENESS = 1e9
"""Steps to a radian by which two bits are told apart: finer than a sample can tell."""


@dataclass(frozen=True)
class Fsk(LineCode):
    """A mark tone for 1 and a space tone for 0, phase-continuous, on one track or the same on both.

    With ``framing=character`` the tape is: ``leader_s`` of mark; for every byte ``start_bits`` of space, its eight
    bits in ``bit_order``, ``stop_bits`` of mark, back to back; ``tail_s`` of mark. A bit stream that is no multiple
    of 8 is padded with zeros to a whole byte on tape. A decoder accepts mark of any length between characters.

    With ``framing=none`` it is: ``leader_s`` of mark; the run-up 0101010101010101; the start word 1111001101010000;
    the bits, in order and with nothing between; the end word 0000110010101111 (the start word inverted); ``tail_s``
    of mark.

    The defaults (300 baud, mark 8 cycles of 2400 Hz, space 4 cycles of 1200 Hz, 1 start, 8 data, 2 stop bits) are
    the published figures; the 5 s leader and the order, least significant first, are its too (leader from memory).
    """

    name = "fsk"
    summary = "Two tones, a character at a time; the defaults are the standard published in 1976."
    needs = "microcontroller"
    hands_on = "whole_bytes"

    baud_hz: float = parameter(300.0, "Line bits a second.", unit="Hz", low=10, high=9_600)
    mark_hz: float = parameter(2400.0, "Tone of a 1.", unit="Hz", low=50, high=20_000)
    space_hz: float = parameter(1200.0, "Tone of a 0.", unit="Hz", low=50, high=20_000)
    framing: str = parameter(
        "character", "Start and stop bits around each byte, or none.", choices=("character", "none")
    )
    start_bits: int = parameter(1, "Space before the bits of a character.", low=1, high=4)
    stop_bits: int = parameter(2, "Mark after the bits of a character.", low=1, high=8)
    bit_order: str = parameter("lsb", "Which bit of a byte comes first.", choices=("lsb", "msb"))
    tracks: str = parameter("same", "Where the tones are.", choices=("same", "left", "right"))
    leader_s: float = parameter(5.0, "Mark before the first bit.", unit="s", low=0, high=120)
    tail_s: float = parameter(0.25, "Mark after the last bit.", unit="s", low=0, high=120)
    level_db: float = parameter(-1.0, "Peak of the tones re full scale.", unit="dB", low=-60, high=0)

    def check(self) -> None:
        """See ``PlugIn``."""
        if abs(self.mark_hz - self.space_hz) < self.baud_hz:
            raise UsageError(
                f"fsk: mark_hz and space_hz must lie at least baud_hz ({self.baud_hz:g} Hz) apart, "
                f"not {abs(self.mark_hz - self.space_hz):g} Hz."
            )
        if min(self.mark_hz, self.space_hz) < self.baud_hz:
            raise UsageError(
                f"fsk: a bit must hold a cycle of the lower tone: baud_hz must be at most "
                f"{min(self.mark_hz, self.space_hz):g} Hz, not {self.baud_hz:g}."
            )

    @property
    def tolerates(self) -> frozenset[str]:
        """Tones have no polarity; what is the same on both tracks can be exchanged."""
        return frozenset({"polarity", "swapped_tracks"} if self.tracks == "same" else {"polarity"})

    @property
    def pattern(self) -> NDArray[np.int8]:
        """A character: -1 space, 1 mark, 0 for a bit of data."""
        return np.array([-1] * self.start_bits + [0] * 8 + [1] * self.stop_bits, np.int8)

    def _line_bits(self, bits: int) -> int:
        if self.framing == "none":
            return RUN_UP.size + START_WORD.size + bits + END_WORD.size
        return -(-bits // 8) * self.pattern.size

    def duration_s(self, bits: int) -> float:
        """See ``LineCode``."""
        return self.leader_s + self._line_bits(bits) / self.baud_hz + self.tail_s

    def line_bits(self, bits: Bits) -> Bits:
        """What is sent between leader and tail: 1 mark, 0 space."""
        if self.framing == "none":
            return np.concatenate([RUN_UP, START_WORD, bits, END_WORD])
        data = np.concatenate([bits, np.zeros(-bits.size % 8, np.uint8)]).reshape(-1, 8)
        if self.bit_order == "lsb":
            data = data[:, ::-1]
        line = np.broadcast_to((self.pattern > 0).astype(np.uint8), (len(data), self.pattern.size)).copy()
        line[:, self.start_bits : self.start_bits + 8] = data
        return line.ravel()

    def modulate(self, bits: Bits, sample_rate_hz: int = 44_100) -> Signal:
        """See ``LineCode``.

        Raises:
            UsageError: a tone at or above half the sample rate.
        """
        for name in ("mark_hz", "space_hz"):
            if getattr(self, name) >= sample_rate_hz / 2:
                raise UsageError(
                    f"fsk: parameter '{name}' must be below half the sample rate ({sample_rate_hz / 2:g} Hz), "
                    f"not {getattr(self, name):g}."
                )
        tones_hz, lengths_s = self._stretches(bits)
        frames = round(self.duration_s(bits.size) * sample_rate_hz)
        samples = np.empty((2, frames), np.float32)
        first = samples[1 if self.tracks == "right" else 0]
        _tones(first, tones_hz / sample_rate_hz, lengths_s * sample_rate_hz, 10 ** (self.level_db / 20))
        samples[0 if self.tracks == "right" else 1] = first if self.tracks == "same" else 0.0
        return Signal.owning(samples, sample_rate_hz)

    def bursts(self, bits: Bits) -> tuple[Burst, ...]:
        """See ``Toned``."""
        tones_hz, lengths_s = self._stretches(bits)
        ends_s = np.cumsum(lengths_s)
        # What is as long as no bit at all is left out; stretches of one tone are one.
        firsts = np.flatnonzero((np.diff(tones_hz, prepend=0.0) != 0) & (lengths_s > 0))
        starts_s = (ends_s - lengths_s)[firsts].tolist()
        tracks = {"same": (0, 1), "left": (0,), "right": (1,)}[self.tracks]
        if not starts_s:
            return ()
        stretches = zip(starts_s, [*starts_s[1:], float(ends_s[-1])], tones_hz[firsts].tolist(), strict=True)
        return tuple(Burst(track, start_s, end_s, tone_hz) for start_s, end_s, tone_hz in stretches for track in tracks)

    def _stretches(self, bits: Bits) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Tone and length of one stretch after another, none longer than a line bit."""
        line = self.line_bits(np.asarray(bits, np.uint8))
        bit_s = 1.0 / self.baud_hz
        before_s, after_s = _pieces(self.leader_s, bit_s), _pieces(self.tail_s, bit_s)
        marks = np.concatenate([np.ones(before_s.size), line, np.ones(after_s.size)])
        lengths_s = np.concatenate([before_s, np.full(line.size, bit_s), after_s])
        return np.where(marks > 0, self.mark_hz, self.space_hz), lengths_s

    def demodulate(self, signal: Signal) -> SoftBits:
        """See ``LineCode``."""
        from .fsk_decoder import demodulate

        return demodulate(self, signal)


def _pieces(length_s: float, piece_s: float) -> NDArray[np.float64]:
    """``length_s`` cut into pieces of ``piece_s`` and a shorter last one."""
    whole = int(length_s / piece_s)
    return np.array([piece_s] * whole + [length_s - whole * piece_s])


def _tones(
    track: NDArray[np.float32], cycles: NDArray[np.float64], lengths: NDArray[np.float64], amplitude: float
) -> None:
    """Fill ``track`` with stretches of tone without a jump in phase.

    Args:
        track: shape (frames,).
        cycles: of each stretch, per frame; two different at most.
        lengths: of each stretch in frames, not whole; together the length of the track.
        amplitude: peak.
    """
    ends = np.cumsum(lengths)
    starts = np.concatenate([[0.0], ends[:-1]])
    phases = np.concatenate([[0.0], np.cumsum(cycles * lengths)[:-1]])
    firsts = np.minimum(np.ceil(starts - 1e-6).astype(np.int64), track.size)
    counts = np.diff(np.append(firsts, track.size))
    longest = int(counts.max(initial=0))
    different = np.array([cycles.min(), cycles.max()])
    which = (cycles == different[1]).astype(np.int64)
    fine = np.exp(2j * np.pi * different[:, None] * np.arange(longest)).astype(np.complex64)
    real, imaginary = np.ascontiguousarray(fine.real), np.ascontiguousarray(fine.imag)
    turns = 2.0 * np.pi * ((phases + cycles * (firsts - starts)) % 1.0)
    rises = (amplitude * np.sin(turns)).astype(np.float32)[:, None]
    runs = (amplitude * np.cos(turns)).astype(np.float32)[:, None]
    # Bits of whole frames and cycles are few shapes, and all of one length: each is drawn once and copied.
    told_apart = np.rint(turns * _FINENESS).astype(np.int64) * 2 + which
    _, samples, kinds = np.unique(told_apart, return_index=True, return_inverse=True)
    if samples.size <= _FEW_SHAPES:
        shapes = real[which[samples]] * rises[samples]
        shapes += imaginary[which[samples]] * runs[samples]
        edges = np.flatnonzero(np.diff(counts, prepend=-1, append=-1)).tolist()
        if len(edges) <= STRETCHES_AT_ONCE:
            for first, last in itertools.pairwise(edges):
                start, count = firsts[first], counts[first]
                into = track[start : start + (last - first) * count].reshape(last - first, count)
                # Out of range is nothing: with "raise" a second array would be filled first.
                np.take(np.ascontiguousarray(shapes[:, :count]), kinds[first:last], axis=0, out=into, mode="clip")
            return
    places = np.arange(longest)
    for first in range(0, cycles.size, STRETCHES_AT_ONCE):
        some = slice(first, first + STRETCHES_AT_ONCE)
        block = real[which[some]] * rises[some]
        block += imaginary[which[some]] * runs[some]
        within = places < counts[some, None]
        start = firsts[some][0]
        track[start : start + counts[some].sum()] = block[within]
