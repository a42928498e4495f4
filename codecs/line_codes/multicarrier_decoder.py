"""Reads a multicarrier tape: straighten, find the leader, learn the responses from it, then symbol by symbol.

Each symbol of each track is heard as ``gain * (response @ points) + noise``. The responses (2 x 2 at each carrier) and
the noise are learnt from the leader. The gain is what changes from symbol to symbol: level and treble by the power
in bands (a dropout takes both), time by the fourth power of the points (which is blind to the data), and what is
left by the decided points. The noise is what does not fit. The likelihood of every bit follows from that, so a track
in a dropout, a treble lost to the azimuth and a hum each take out their own bits and no others.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ...contracts.decoded import Event
from ...contracts.signal import Signal
from ...contracts.soft_bits import SoftBits
from .multicarrier_lateness import known_lateness
from .multicarrier_loading import Loading
from .multicarrier_reader import Reader
from .multicarrier_response import Response, learnt
from .multicarrier_symbols import BODY, GRID_HZ, HEADERS, Layout, scrambled
from .multicarrier_sync import leader_ends
from .multicarrier_tape import Tape, turned
from .time_base import Straightened, straightened

_AT_ONCE = 32
_MOST_BITS_A_PLACE = 16
_LEAST_SIGNAL_TO_NOISE = 0.3
"""A leader is there: noise alone, fitted to 38 known symbols, comes to 0.05."""


def heard(signal: Signal, layout: Layout, leader_symbols: int) -> SoftBits:
    """The soft bits of ``signal``, as many as the headers announce."""
    straight = straightened(signal, layout.tone / BODY, GRID_HZ)
    if straight is None:
        return SoftBits([], events=(Event("no time-base tone heard"),))
    found = _opened(straight, layout, signal.sample_rate_hz, leader_symbols - HEADERS)
    if found is None:
        return SoftBits([], events=(Event("no leader with a header found"),))
    opening, count = found
    began_s = float(opening.tape.times_s(np.array([-leader_symbols]))[0])
    if count > _MOST_BITS_A_PLACE * signal.frames:
        return SoftBits([], events=(Event(f"a header announces {count} bits, more than there is tape", began_s),))
    symbols = layout.symbols(count)
    values = np.zeros((symbols, layout.symbol_bits), np.float32)
    reader = opening.reader(layout.loading)
    for first in range(HEADERS, HEADERS + symbols, _AT_ONCE):
        numbers = np.arange(first, min(first + _AT_ONCE, HEADERS + symbols))
        values[numbers - HEADERS] = reader.soft_bits(numbers)
    flat = values.reshape(-1)[:count]
    flat = flat * (1 - 2 * scrambled(np.zeros(count, np.uint8)).astype(np.float32))
    times = np.repeat(opening.tape.times_s(np.arange(HEADERS, HEADERS + symbols)), layout.symbol_bits)[:count]
    return SoftBits(flat, times, (Event("leader starts", began_s),))


@dataclass(frozen=True, slots=True, eq=False)
class _Opening:
    """What the leader tells: where the symbols are, how they are heard, how late the last of its symbols was."""

    tape: Tape
    response: Response
    late: float

    def reader(self, loading: Loading) -> Reader:
        return Reader(self.tape, self.response, loading, self.late)


def _opened(straight: Straightened, layout: Layout, sample_rate_hz: int, training: int) -> tuple[_Opening, int] | None:
    """The tape from its first header on, and how many bits it holds."""
    openings = []
    for start in leader_ends(straight.samples, layout, training):
        opening = _taught(Tape(straight, layout, sample_rate_hz, start), training)
        if opening is not None:
            count = _headed(opening)
            if count is not None:
                return opening, count
            openings.append(opening)
    for opening in openings[:1]:
        count = _closed(opening)
        if count is not None:
            return opening, count
    return None


def _taught(tape: Tape, training: int) -> _Opening | None:
    """What the known symbols of the leader teach, as far as they were heard."""
    layout = tape.layout
    pairs = training // 2
    before = np.arange(2 * pairs, 0, -1)
    rough = tape.spectra(-before, np.zeros(before.size))
    product = (rough * layout.training(before)[:, :1].conj()).reshape(pairs, 2, 2, -1)
    parts = np.concatenate((product.sum(axis=1), product[:, 0] - product[:, 1]), axis=1)
    late = np.repeat(known_lateness(parts, layout), 2)
    spectra = tape.spectra(-before, late)
    there = (np.abs(spectra) ** 2).sum(axis=(1, 2)) > 0
    spectra, before, late = spectra[there] / turned(layout, late[there]), before[there], late[there]
    response = learnt(spectra, layout.training(before), layout.alike(before), layout)
    if response is None or response.signal_to_noise < _LEAST_SIGNAL_TO_NOISE:
        return None
    return _Opening(tape, response, float(np.median(late[-4:])))


def _headed(opening: _Opening) -> int | None:
    """How many bits the headers before the data announce."""
    soft = opening.reader(opening.tape.layout.header_loading).soft_bits(np.arange(HEADERS))
    told = (opening.tape.layout.read_header(one) for one in (soft.sum(axis=0), *soft))
    return next((count for count in told if count is not None), None)


def _closed(opening: _Opening) -> int | None:
    """How many bits the header after the data announces; it must stand where they end."""
    reader, layout = opening.reader(opening.tape.layout.header_loading), opening.tape.layout
    for first in range(HEADERS, opening.tape.symbols, _AT_ONCE):
        numbers = np.arange(first, min(first + _AT_ONCE, opening.tape.symbols))
        for number, one in zip(numbers, reader.soft_bits(numbers), strict=True):
            count = layout.read_header(one)
            if count is not None and layout.symbols(count) == number - HEADERS:
                return count
    return None
