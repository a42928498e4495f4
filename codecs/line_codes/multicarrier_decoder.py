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
from numpy.typing import NDArray

from ...contracts.decoded import Event
from ...contracts.signal import Signal
from ...contracts.soft_bits import SoftBits
from .multicarrier_response import Power, Response, fitted_gain, gain_slopes, learnt, spread
from .multicarrier_symbols import (
    BODY,
    GRID_HZ,
    HEADERS,
    SYMBOL,
    Constellation,
    Layout,
    Points,
    constellation,
    scrambled,
)
from .multicarrier_sync import leader_ends
from .time_base import Straightened, straightened

_AT_ONCE = 32
_EARLY = 16
"""The window of a body starts so many places early: in the middle of what the fades leave clean."""
_SUREST = 30.0
_MOST_BITS_A_PLACE = 16
_BANDS = 12
_LEAST_GAIN = 0.02
_LATE = np.arange(-10, 10.01, 0.1)
_LATE_COST = 0.001
"""What a place that a symbol is late or early speaks against it, squared, re a carrier's full agreement."""
_UNHEARD = np.float32(1e6)
_ROUNDS = 3
_KEPT = 0.8
_BAND, _TRUST = 25, 15


def heard(signal: Signal, layout: Layout, leader_symbols: int) -> SoftBits:
    """The soft bits of ``signal``, as many as the headers announce."""
    straight = straightened(signal, layout.tone / BODY, GRID_HZ)
    if straight is None:
        return SoftBits([], events=(Event("no time-base tone heard"),))
    found = _opened(straight, layout, signal.sample_rate_hz, leader_symbols)
    if found is None:
        return SoftBits([], events=(Event("no leader with a header found"),))
    tape, response, count = found
    began_s = float(tape.times_s(np.array([-leader_symbols]))[0])
    if count > _MOST_BITS_A_PLACE * signal.frames:
        return SoftBits([], events=(Event(f"a header announces {count} bits, more than there is tape", began_s),))
    symbols = layout.symbols(count)
    values = np.zeros((symbols, layout.symbol_bits), np.float32)
    reader = _Reader(tape, response, layout.bits)
    for first in range(HEADERS, HEADERS + symbols, _AT_ONCE):
        numbers = np.arange(first, min(first + _AT_ONCE, HEADERS + symbols))
        values[numbers - HEADERS] = reader.soft_bits(numbers)
    flat = values.reshape(-1)[:count]
    flat = flat * (1 - 2 * scrambled(np.zeros(count, np.uint8)).astype(np.float32))
    times = np.repeat(tape.times_s(np.arange(HEADERS, HEADERS + symbols)), layout.symbol_bits)[:count]
    return SoftBits(flat, times, (Event("leader starts", began_s),))


def _opened(
    straight: Straightened, layout: Layout, sample_rate_hz: int, leader_symbols: int
) -> tuple[_Tape, Response, int] | None:
    """The tape from its first header on, how it is heard and how many bits it holds."""
    training = leader_symbols - HEADERS
    opened = []
    for start in leader_ends(straight.samples, layout, training):
        tape = _Tape(straight, layout, sample_rate_hz, start)
        response = _taught(tape, training)
        if response is not None:
            count = _headed(tape, response)
            if count is not None:
                return tape, response, count
            opened.append((tape, response))
    for tape, response in opened[:1]:
        count = _closed(tape, response)
        if count is not None:
            return tape, response, count
    return None


@dataclass(frozen=True, slots=True, eq=False)
class _Tape:
    """A straightened capture whose symbols are counted from the first header."""

    straight: Straightened
    layout: Layout
    sample_rate_hz: int
    start: int

    def spectra(self, numbers: NDArray[np.intp], late: float = 0.0) -> Points:
        """What the carriers hold in these symbols, shape (symbols, 2, carriers); zeros beyond the ends.

        Args:
            late: places by which the tape is late there; whole places move the window, the phases undo it.
        """
        whole = round(late)
        samples = self.straight.samples
        begins = self.start + numbers * SYMBOL + whole - _EARLY
        cut = np.zeros((numbers.size, 2, BODY), np.float32)
        for row, begin in enumerate(begins.tolist()):
            inside = slice(max(begin, 0), max(begin + BODY, 0))
            piece = samples[:, inside]
            cut[row, :, inside.start - begin :][:, : piece.shape[1]] = piece
        carriers = self.layout.carriers
        turn = np.exp(-2j * np.pi * carriers * whole / BODY)
        return np.asarray(np.fft.rfft(cut, axis=-1)[..., carriers] * turn, np.complex64)

    def times_s(self, numbers: NDArray[np.intp]) -> NDArray[np.float64]:
        """Where on the capture the middles of these symbols lie."""
        places = self.start + numbers * SYMBOL + BODY / 2
        last_s = self.straight.samples.shape[1]
        frames = self.straight.course.frame_at(np.clip(places, 0, last_s))
        return np.asarray(np.maximum(frames, 0) / self.sample_rate_hz)


def _taught(tape: _Tape, training: int) -> Response | None:
    """The response that the known symbols of the leader teach, as far as they were heard."""
    before = np.arange(training, 0, -1)
    spectra = tape.spectra(-before)
    there = (np.abs(spectra) ** 2).sum(axis=(1, 2)) > 0
    layout, before = tape.layout, before[there]
    return learnt(spectra[there], layout.training(before), layout.alike(before), layout)


def _headed(tape: _Tape, response: Response) -> int | None:
    """How many bits the headers before the data announce."""
    soft = _Reader(tape, response, 2).soft_bits(np.arange(HEADERS))
    told = (tape.layout.read_header(one) for one in (soft.sum(axis=0), *soft))
    return next((count for count in told if count is not None), None)


def _closed(tape: _Tape, response: Response) -> int | None:
    """How many bits the header after the data announces; it must stand where they end."""
    reader = _Reader(tape, response, 2)
    last = (tape.straight.samples.shape[1] - tape.start) // SYMBOL
    for first in range(HEADERS, last, _AT_ONCE):
        numbers = np.arange(first, min(first + _AT_ONCE, last))
        for number, one in zip(numbers, reader.soft_bits(numbers), strict=True):
            count = tape.layout.read_header(one)
            if count is not None and tape.layout.symbols(count) == number - HEADERS:
                return count
    return None


class _Reader:
    """Reads symbols in order; what it carries on is how late the tape has become."""

    def __init__(self, tape: _Tape, response: Response, bits: int) -> None:
        self.tape, self.bits = tape, bits
        self.late = 0.0
        self.slopes = gain_slopes(tape.layout)
        self._hear(response)

    def _hear(self, response: Response) -> None:
        self.response = response
        self.matrix = response.matrix
        self.inverse = np.linalg.pinv(self.matrix, rcond=1e-3).astype(np.complex64)

    def soft_bits(self, numbers: NDArray[np.intp]) -> Power:
        """Likelihoods of the bits of these symbols in the order of the tape, shape (symbols, bits of a symbol)."""
        points = constellation(self.bits)
        whole = round(self.late)
        spectra = self.tape.spectra(numbers, whole)
        gain = self._level(spectra) * self._turn(np.full(numbers.size, self.late))
        late = self.late + self._search(spectra / gain, gain)
        gain = gain * self._turn(late - self.late)
        noise: Power = np.broadcast_to(self.response.noise, spectra.shape)
        for _ in range(_ROUNDS):
            sent, sent_noise = self._sent(spectra / gain), self._sent_noise(noise / np.abs(gain) ** 2)
            mean, doubt = _posterior(sent, sent_noise, points)
            expected = self._heard(mean) * gain
            unsure = self._heard_power(doubt) * np.abs(gain) ** 2
            gain = gain * fitted_gain(spectra, expected, unsure, noise, self.slopes)
            misfit = np.abs(spectra - self._heard(mean) * gain) ** 2 + unsure
            noise = (_BAND * spread(misfit, _BAND) + _TRUST * self.response.noise) / np.float32(_BAND + _TRUST)
        sent, sent_noise = self._sent(spectra / gain), self._sent_noise(noise / np.abs(gain) ** 2)
        self.late = float(np.median(late[-8:]))
        mean, doubt = _posterior(sent, sent_noise, points)
        improved = self.response.improved(spectra / gain, mean, doubt, noise / np.abs(gain) ** 2, _KEPT)
        self._hear(improved)
        return _likelihoods(sent, sent_noise, points)

    def _sent(self, level: Points) -> Points:
        return np.asarray(np.einsum("kim,smk->sik", self.inverse, level), np.complex64)

    def _sent_noise(self, noise: Power) -> Power:
        sent = np.einsum("kim,smk->sik", np.abs(self.inverse) ** 2, noise)
        return np.where(sent > 0, sent, _UNHEARD).astype(np.float32)

    def _heard(self, sent: Points) -> Points:
        return np.asarray(np.einsum("kmi,sik->smk", self.matrix, sent), np.complex64)

    def _heard_power(self, sent: Power) -> Power:
        return np.asarray(np.einsum("kmi,sik->smk", np.abs(self.matrix) ** 2, sent), np.float32)

    def _turn(self, late: NDArray[np.float64]) -> Points:
        """What being late does to the carriers, shape (symbols, 1, carriers)."""
        cycles = late[:, None, None] * self.tape.layout.carriers / BODY
        return np.asarray(np.exp(-2j * np.pi * cycles), np.complex64)

    def _level(self, spectra: Points) -> Power:
        """Level and slope of each symbol and track by the power in bands, shape (symbols, 2, carriers)."""
        power = (np.abs(self.matrix) ** 2).sum(axis=2).T
        noise = self.response.noise
        bands = np.array_split(np.arange(power.shape[1]), _BANDS)
        heard = np.stack([(np.abs(spectra[..., band]) ** 2).mean(axis=-1) for band in bands], -1)
        wanted = np.stack([power[:, band].mean(axis=-1) for band in bands], -1)
        lost = np.stack([noise[:, band].mean(axis=-1) for band in bands], -1)
        share = np.clip((heard - lost) / np.maximum(wanted, lost.min() + 1e-30), _LEAST_GAIN**2, 10.0)
        weight = heard / (heard + 10 * lost) * np.ones_like(share)
        place = np.linspace(-1, 1, _BANDS)
        basis = np.stack([np.ones_like(place), place])
        normal = np.einsum("smb,ib,jb->smij", weight, basis, basis) + 1e-3 * np.eye(2)
        right = np.einsum("smb,ib->smi", weight * np.log(share) / 2, basis)
        parts = np.linalg.solve(normal, right[..., None])[..., 0]
        along = self.slopes[:2]
        return np.asarray(np.exp(np.clip(parts @ along, np.log(_LEAST_GAIN), 1.0)), np.float32)

    def _search(self, level: Points, gain: Points) -> NDArray[np.float64]:
        """How much later than expected each symbol is, both tracks together, shape (symbols,)."""
        sent = self._sent(level)
        power = 2 if self.bits == 1 else 4
        unit = sent / np.maximum(np.abs(sent), 1e-12)
        weight = 1 / (1 + self._sent_noise(self.response.noise / np.abs(gain) ** 2))
        folded = (unit**power * weight).sum(axis=1)
        turns = np.exp(2j * np.pi * power * np.outer(self.tape.layout.carriers, _LATE) / BODY)
        fit = (folded @ turns).real * (1 if power == 2 else -1)
        fit -= _LATE_COST * self.tape.layout.carriers.size * _LATE**2
        return np.asarray(_LATE[fit.argmax(axis=1)])


def _posterior(sent: Points, noise: Power, points: Constellation) -> tuple[Points, Power]:
    """What was sent in the mean, and its variance, given that all points are equally likely."""
    parts = _parts(sent, points)
    closeness = -((parts[..., None] - points.levels) ** 2) / noise[..., None, None]
    closeness -= closeness.max(axis=-1, keepdims=True)
    weight = np.exp(closeness)
    weight /= weight.sum(axis=-1, keepdims=True)
    mean = weight @ points.levels
    spread = np.maximum(weight @ points.levels**2 - mean**2, 0).sum(axis=-1)
    whole = mean[..., 0] if points.axes == 1 else mean[..., 0] + 1j * mean[..., 1]
    return np.asarray(whole, np.complex64), np.asarray(spread, np.float32)


def _parts(sent: Points, points: Constellation) -> Power:
    """The axes that carry bits, shape (..., axes)."""
    return sent.real[..., None] if points.axes == 1 else np.stack([sent.real, sent.imag], -1)


def _likelihoods(sent: Points, noise: Power, points: Constellation) -> Power:
    """Log-likelihood ratios by the nearest levels, in the order of the tape, shape (symbols, bits of a symbol)."""
    distance = (_parts(sent, points)[..., None] - points.levels) ** 2 / noise[..., None, None]
    values = np.arange(points.levels.size)
    found = []
    for bit in range(points.bits // points.axes - 1, -1, -1):
        one = (values >> bit & 1).astype(bool)
        found.append(distance[..., ~one].min(axis=-1) - distance[..., one].min(axis=-1))
    symbols = len(sent)
    of_track = np.stack(found, -1).reshape(symbols, 2, -1).swapaxes(1, 2)
    return np.asarray(np.clip(of_track, -_SUREST, _SUREST).reshape(symbols, -1), np.float32)
