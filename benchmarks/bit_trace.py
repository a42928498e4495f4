"""A bit trace: the bits that were recorded beside those that were heard, slips of the count found and followed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..contracts.bits import Bits
from ..contracts.soft_bits import LOST, SoftBits

RIGHT, WRONG, MISSING = 0, 1, 2
"""States of a recorded bit: heard right, heard as the other, not known."""

WINDOW_BITS = 48
"""Read at one count. A wrong count agrees in all but 4 of 48 bits by chance with a probability of 7.6e-10."""

FARTHEST_SLIP_BITS = 64
STRETCH_BITS = 64
"""Bad bits within so many are one stretch of trouble."""

_OUT_OF_STEP = 0.25
_IN_STEP = 4 / WINDOW_BITS
_FEWEST_KNOWN = 24


@dataclass(frozen=True, slots=True, eq=False)
class Trace:
    """What became of every recorded bit.

    Attributes:
        sent: what was recorded, uint8 0/1, shape (bits,).
        heard: what it was heard as, uint8 0/1, shape (bits,); only where ``states`` is not ``MISSING``.
        soft: with which log-likelihood ratio, float32, shape (bits,); 0 where nothing was heard.
        states: ``RIGHT``, ``WRONG`` or ``MISSING``, uint8, shape (bits,).
        times_s: where it lies on the capture, float64, shape (bits,); in between for bits not heard, NaN if none was.
        slips: (bit, by how many) where the count changes: positive for bits too many, negative for too few.
    """

    sent: Bits
    heard: Bits
    soft: NDArray[np.float32]
    states: NDArray[np.uint8]
    times_s: NDArray[np.float64]
    slips: tuple[tuple[int, int], ...]

    @property
    def bad(self) -> NDArray[np.bool_]:
        """Which bits are not right, shape (bits,)."""
        return np.asarray(self.states != RIGHT)

    def first_trouble(self, corrected: bool) -> int | None:
        """The bit at which the trouble begins; None if all are right.

        Where the codec corrects, a bad bit or two are no trouble: the first of the worst stretch is meant.
        """
        bad = np.flatnonzero(self.bad)
        if not bad.size:
            return None
        within = np.searchsorted(bad, bad + STRETCH_BITS) - np.arange(bad.size)
        return int(bad[np.argmax(within) if corrected else 0])


def trace(sent: Bits, heard: SoftBits) -> Trace:
    """Follow ``sent`` through ``heard``.

    >>> sent = np.random.default_rng(1).integers(0, 2, 480).astype(np.uint8)
    >>> short = SoftBits.certain(np.delete(sent, 200), np.arange(479) / 100)
    >>> trace(sent, short).slips
    ((240, -1),)
    """
    values, count = heard.values, sent.size
    places = np.full(count, -1, np.int64)
    slips: list[tuple[int, int]] = []
    shift = 0
    for first in range(0, count, WINDOW_BITS):
        window = sent[first : first + WINDOW_BITS]
        if _wrong_share(window, values, first + shift) > _OUT_OF_STEP:
            found = _shift_in_step(window, values, first, shift)
            if found is not None:
                slips.append((first, found - shift))
                shift = found
        places[first : first + window.size] = first + shift + np.arange(window.size)
    inside = (places >= 0) & (places < values.size)
    taken = np.clip(places, 0, max(values.size - 1, 0))
    soft: NDArray[np.float32] = np.zeros(count, np.float32)
    soft[inside] = values[taken[inside]]
    bits = (soft > 0).astype(np.uint8)
    states = np.where(np.abs(soft) <= LOST, MISSING, np.where(bits == sent, RIGHT, WRONG)).astype(np.uint8)
    return Trace(sent, bits, soft, states, _times(inside, taken, heard), tuple(slips))


def _wrong_share(window: Bits, values: NDArray[np.float32], first: int) -> float:
    """Of the bits known, the share that differs; 0 where too few are known to say."""
    begin, end = max(first, 0), min(first + window.size, values.size)
    if end <= begin:
        return 0.0
    soft = values[begin:end]
    known = np.abs(soft) > LOST
    if known.sum() < min(_FEWEST_KNOWN, window.size):
        return 0.0
    return float(((soft > 0) != window[begin - first : end - first])[known].mean())


def _shift_in_step(window: Bits, values: NDArray[np.float32], first: int, shift: int) -> int | None:
    """The nearest count at which ``window`` agrees, well known; None if there is none."""
    for by in range(1, FARTHEST_SLIP_BITS + 1):
        for tried in (shift - by, shift + by):
            begin = first + tried
            if begin < 0 or begin + window.size > values.size or window.size < _FEWEST_KNOWN:
                continue
            known = np.abs(values[begin : begin + window.size]) > LOST
            if known.sum() >= _FEWEST_KNOWN and _wrong_share(window, values, begin) <= _IN_STEP:
                return tried
    return None


def _times(inside: NDArray[np.bool_], taken: NDArray[np.int64], heard: SoftBits) -> NDArray[np.float64]:
    if not inside.any():
        return np.full(inside.size, np.nan)
    at = np.flatnonzero(inside)
    known_s = heard.times_s[taken[at]]
    if at.size < 2:
        return np.full(inside.size, known_s[0])
    pace_s = (known_s[-1] - known_s[0]) / (at[-1] - at[0])
    bits = np.arange(inside.size)
    times = np.interp(bits, at, known_s)
    times = np.where(bits < at[0], known_s[0] - (at[0] - bits) * pace_s, times)
    return np.asarray(np.where(bits > at[-1], known_s[-1] + (bits - at[-1]) * pace_s, times))
