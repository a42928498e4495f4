"""What was heard of one play of a tape before any layer looked at it: where, how fast, how sure.

It is read off the soft bits of any line code whose bits come at an even pace, byte by byte.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .line_code import LineCode
from .soft_bits import LOST, SoftBits

SURE = 3.0
"""Log-likelihood ratio of a bit that is more than 95 % sure."""

STEADY = 0.04
"""Share by which a byte may be longer or shorter than the others and still be in step; several times any flutter."""

_FEWEST_BYTES = 2
_SPAN = 86_400
"""Bits over which a pace is taken: whole groups of every usual size."""


@dataclass(frozen=True, slots=True)
class Play:
    """One play of a tape.

    Attributes:
        bits: how many were heard.
        start_s, end_s: middle of the first and the last of them on the capture; None without bits.
        speed_percent: how much faster than nominal the tape ran; None for fewer than 2 bytes.
        sure: share of the bits that are more than 95 % sure.
        steady: share of the bytes that follow each other at the pace of the others.
        gaps: (start, length) in seconds of stretches of at least 2 bits that are not known.
    """

    bits: int = 0
    start_s: float | None = None
    end_s: float | None = None
    speed_percent: float | None = None
    sure: float = 0.0
    steady: float = 0.0
    gaps: tuple[tuple[float, float], ...] = ()

    @property
    def evidence(self) -> float:
        """How much the play is like one of its format, from 0 to 1; sure bits at a steady pace."""
        return self.sure * self.steady

    def __str__(self) -> str:
        if self.start_s is None or self.end_s is None:
            return "nothing heard"
        speed = "" if self.speed_percent is None else f", speed {self.speed_percent:+.2f} %"
        lost_s = sum(length for _, length in self.gaps)
        gaps = f", {1000 * lost_s:.0f} ms of it not heard" if self.gaps else ""
        return f"{self.bits} bits from {self.start_s:.3f} to {self.end_s:.3f} s{speed}{gaps}"

    def to_json(self) -> dict[str, Any]:
        """Plain values."""
        return {
            "bits": self.bits,
            "start_s": _rounded(self.start_s, 4),
            "end_s": _rounded(self.end_s, 4),
            "speed_percent": _rounded(self.speed_percent, 3),
            "sure": round(self.sure, 4),
            "steady": round(self.steady, 4),
            "gaps": [{"start_s": round(start, 4), "length_s": round(length, 4)} for start, length in self.gaps],
        }


def heard_play(code: LineCode, heard: SoftBits) -> Play:
    """The play that ``heard`` tells of, demodulated by ``code``."""
    if not len(heard):
        return Play()
    sizes = np.abs(heard.values)
    sure = np.count_nonzero(sizes >= SURE) / sizes.size
    start_s, end_s = float(heard.times_s.min()), float(heard.times_s.max())
    byte_s = 8 * (code.duration_s(8 + _SPAN) - code.duration_s(8)) / _SPAN
    lengths = np.diff(heard.times_s[: len(heard) // 8 * 8 : 8])
    if lengths.size < _FEWEST_BYTES - 1:
        return Play(len(heard), start_s, end_s, None, sure, 0.0, _gaps(heard, sizes, byte_s))
    # The median; numpy's own also looks for what is no number, and takes longer.
    middle = ((lengths.size - 1) // 2, lengths.size // 2)
    usual = float(np.partition(lengths, middle)[[*middle]].mean())
    in_step = np.abs(lengths - usual) <= STEADY * usual
    # The median of an even number of lengths lies between two, and may be like neither.
    speed = 100 * (byte_s / float(lengths[in_step].mean()) - 1) if usual > 0 and in_step.any() else None
    steady = float(in_step.mean()) if usual > 0 else 0.0
    return Play(len(heard), start_s, end_s, speed, sure, steady, _gaps(heard, sizes, byte_s))


def _gaps(heard: SoftBits, sizes: NDArray[np.float32], byte_s: float) -> tuple[tuple[float, float], ...]:
    unknown = np.flatnonzero(sizes <= LOST)
    if not unknown.size:
        return ()
    ends = np.flatnonzero(np.diff(unknown) > 1)
    times: NDArray[np.float64] = heard.times_s
    runs = zip([0, *(ends + 1).tolist()], [*ends.tolist(), unknown.size - 1], strict=True)
    return tuple(
        (float(times[first]), float(times[last] - times[first] + byte_s / 8))
        for first, last in ((unknown[begin], unknown[end]) for begin, end in runs)
        if last > first
    )


def _rounded(value: float | None, digits: int) -> float | None:
    return None if value is None else round(value, digits)
