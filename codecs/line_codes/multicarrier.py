"""Multicarrier: hundreds of narrow carriers on both tracks, straightened by a steady tone beside them.

``multicarrier_symbols`` says what is on the tape. The receiver (``multicarrier_decoder``) takes the drift out by the
tone, finds the known symbols of the leader, learns from them how each track is heard on each, and gives every bit the
likelihood that the noise, the dropout or the loss at its carrier and moment leaves it. It is meant to be used below a
code that lives on such likelihoods, spread over the whole load: ``.../convolutional/scatter/multicarrier``.

The leader is the one place where the responses are learnt, so there is no second place to begin: of a capture that
lacks it, or all but its last fifth of a second, nothing is read, and that is said.

Peaks are clipped at ``crest_db`` above the mean power and what that throws beside the carriers is taken out again: on
a tape that saturates, louder carriers with clipped peaks carry more than quiet ones without.
"""

from __future__ import annotations

from collections.abc import Iterator
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
from .multicarrier_loading import Loading, Points
from .multicarrier_symbols import (
    BODY,
    EMPTY,
    FADE,
    GRID_HZ,
    HEADERS,
    PREFIX,
    SPACING_HZ,
    SYMBOL,
    TONE_STEP,
    Layout,
)

FEWEST_CARRIERS = 24
FEWEST_TRAINING = 4
_CLIPPINGS = 4
_OVER = 2
_AT_ONCE = 64
_TAPS = 24


@dataclass(frozen=True)
class Multicarrier(LineCode):
    """Narrow carriers with one to eight bits each on both tracks, and a time-base tone."""

    name: ClassVar[str] = "multicarrier"
    summary: ClassVar[str] = "Hundreds of narrow carriers on both tracks, straightened by a steady tone: the densest."
    needs: ClassVar[str] = "computer"
    hands_on: ClassVar[str] = "exact"
    exemptions: ClassVar[dict[str, str]] = {
        "times_follow_the_tape": "a symbol carries many bytes at once, so that they have one time"
    }

    bits_per_carrier: int = parameter(2, "Bits of a carrier in a symbol: 2 to 256 points.", choices=(1, 2, 4, 6, 8))
    treble_bits: int = parameter(
        0, "Bits of a carrier from treble_hz up, where tapes are weaker; 0: as many as below.", choices=(0, 2, 4, 6, 8)
    )
    treble_hz: float = parameter(6_000.0, "Where the treble begins.", unit="Hz", low=100, high=20_000)
    low_hz: float = parameter(430.0, "Lowest carrier.", unit="Hz", low=100, high=20_000)
    high_hz: float = parameter(11_000.0, "Highest carrier.", unit="Hz", low=1_000, high=20_000)
    time_base_hz: float = parameter(
        6_890.0, "Steady tone, moved to a multiple of 689 Hz.", unit="Hz", low=1_000, high=20_000
    )
    time_base_db: float = parameter(14.0, "Power of the tone re one carrier.", unit="dB", low=0, high=30)
    tilt_db: float = parameter(-8.0, "Power of the highest carrier re the lowest.", unit="dB", low=-20, high=20)
    crest_db: float = parameter(12.0, "Where peaks are clipped, re the mean power.", unit="dB", low=4, high=20)
    level_db: float = parameter(-0.5, "Peak level re full scale.", unit="dB", low=-60, high=0)
    leader_s: float = parameter(1.0, "Leader of known symbols before the data.", unit="s", low=0.25, high=60)
    tail_s: float = parameter(0.25, "Silence after the data.", unit="s", low=0, high=60)

    @property
    def tolerates(self) -> frozenset[str]:
        """How each track is heard on each is learnt, whatever it is."""
        return frozenset({"polarity", "swapped_tracks"})

    def check(self) -> None:
        if self.layout.carriers.size < FEWEST_CARRIERS:
            raise UsageError(
                f"{self.name}: parameters 'low_hz' and 'high_hz' must hold {FEWEST_CARRIERS} carriers beside the "
                f"time-base tone, {SPACING_HZ:.1f} Hz apart; {self.low_hz:g} to {self.high_hz:g} Hz hold "
                f"{self.layout.carriers.size}."
            )
        if self.treble_bits and self.bits_per_carrier == 1:
            raise UsageError(
                f"{self.name}: parameter 'treble_bits' must be 0 where bits_per_carrier is 1, not {self.treble_bits}."
            )

    @property
    def layout(self) -> Layout:
        """The carriers that the parameters ask for."""
        tone = TONE_STEP * max(1, round(self.time_base_hz / SPACING_HZ / TONE_STEP))
        lowest, highest = int(np.ceil(self.low_hz / SPACING_HZ)), int(self.high_hz / SPACING_HZ)
        numbers = np.arange(lowest, highest + 1)
        carriers = numbers[np.abs(numbers - tone) > EMPTY]
        low = int(np.searchsorted(carriers * SPACING_HZ, self.treble_hz)) if self.treble_bits else carriers.size
        bands = ((low, self.bits_per_carrier), (carriers.size - low, self.treble_bits))
        return Layout(carriers, tone, Loading(tuple(band for band in bands if band[0])))

    def duration_s(self, bits: int) -> float:
        """Length of the recording of that many bits, leader and tail included."""
        symbols = self.layout.symbols(bits) + 1
        return self.leader_s + (symbols * SYMBOL + FADE) / GRID_HZ + self.tail_s

    def modulate(self, bits: Bits, sample_rate_hz: int = 44_100) -> Signal:
        """The recording of ``bits``.

        Raises:
            UsageError: a sample rate that does not hold the highest carrier.
        """
        layout = self.layout
        top_hz = max(int(layout.carriers[-1]), layout.tone) * SPACING_HZ
        if sample_rate_hz < 2.2 * top_hz:
            raise UsageError(
                f"Argument 'sample_rate_hz' must be at least 2.2 times the highest carrier of {top_hz:.0f} Hz, "
                f"not {sample_rate_hz}."
            )
        leader = round(self.leader_s * GRID_HZ)
        on_grid = np.zeros((2, leader + (layout.symbols(bits.size) + 1) * SYMBOL + FADE), np.float32)
        place = leader - self.leader_symbols * SYMBOL
        for sound in self._symbols(self._points(bits)):
            on_grid[:, place : place + sound.shape[1]] += sound
            place += sound.shape[1] - FADE
        peak = np.float32(10 ** (self.level_db / 20))
        np.clip(on_grid, -peak, peak, out=on_grid)
        samples = np.zeros((2, round(self.duration_s(bits.size) * sample_rate_hz)), np.float32)
        _resample(on_grid, GRID_HZ / sample_rate_hz, samples)
        np.clip(samples, -peak, peak, out=samples)
        return Signal.owning(samples, sample_rate_hz)

    def demodulate(self, signal: Signal) -> SoftBits:
        """What was heard of as many bits as the headers announce; nothing if no leader or header is found."""
        from .multicarrier_decoder import heard

        return heard(signal, self.layout, self.leader_symbols)

    @property
    def leader_symbols(self) -> int:
        """Symbols before the data, headers included."""
        return round(self.leader_s * GRID_HZ) // SYMBOL

    def _points(self, bits: Bits) -> Iterator[Points]:
        """All symbols of the tape, some at a time, shape (symbols, 2, carriers)."""
        layout = self.layout
        header = layout.header(bits.size)
        yield layout.training(np.arange(self.leader_symbols - HEADERS, 0, -1))
        yield np.stack([header] * HEADERS)
        symbols = layout.symbols(bits.size)
        for first in range(0, symbols, _AT_ONCE):
            some = bits[first * layout.symbol_bits : (first + _AT_ONCE) * layout.symbol_bits]
            missing = -some.size % layout.symbol_bits
            yield layout.data(np.concatenate((some, np.zeros(missing, np.uint8))), first)
        yield header[None]

    def _symbols(self, points: Iterator[Points]) -> Iterator[NDArray[np.float32]]:
        """Their sound on the grid, each piece FADE places longer than its symbols, to be added to the next."""
        layout = self.layout
        shares = self.carrier_powers()
        rms = np.sqrt((shares.sum() + 10 ** (self.time_base_db / 10)) / 2)
        scale = 10 ** ((self.level_db - self.crest_db) / 20) / rms
        fade = np.sin(np.pi / 2 * (np.arange(FADE) + 0.5) / FADE) ** 2
        for some in points:
            spectrum = np.zeros((len(some), 2, _OVER * BODY // 2 + 1), np.complex64)
            spectrum[..., layout.carriers] = some * np.sqrt(shares)
            spectrum[..., layout.tone] = 10 ** (self.time_base_db / 20)
            bodies = _clipped(spectrum * (scale * _OVER * BODY / 2), 10 ** (self.level_db / 20), layout)
            ringing = np.concatenate((bodies[..., -PREFIX:], bodies, bodies[..., :FADE]), axis=-1)
            ringing[..., :FADE] *= fade
            ringing[..., -FADE:] *= fade[::-1]
            sound = np.zeros((2, len(some) * SYMBOL + FADE), np.float32)
            for number, one in enumerate(ringing):
                sound[:, number * SYMBOL : (number + 1) * SYMBOL + FADE] += one
            yield sound

    def carrier_powers(self) -> NDArray[np.float32]:
        """Power of each carrier, 1 in the mean of the logarithm."""
        place = np.linspace(-0.5, 0.5, self.layout.carriers.size)
        return (10 ** (self.tilt_db * place / 10)).astype(np.float32)


def _clipped(spectrum: Points, peak: float, layout: Layout) -> NDArray[np.float32]:
    """Bodies of the symbols with these spectra, their peaks taken off and what that adds between the carriers too."""
    used = np.zeros(spectrum.shape[-1], bool)
    used[layout.carriers] = used[layout.tone] = True
    for _ in range(_CLIPPINGS):
        sound = np.fft.irfft(spectrum, axis=-1)
        spectrum = np.asarray(np.fft.rfft(np.clip(sound, -peak, peak), axis=-1) * used, np.complex64)
    sound = np.fft.irfft(spectrum, axis=-1)[..., ::_OVER]
    return np.asarray(sound, np.float32)


def _resample(sound: NDArray[np.float32], step: float, out: NDArray[np.float32]) -> None:
    """Read ``sound`` every ``step`` places into ``out``: a windowed sinc for what lies below a quarter of the rate."""
    if step == 1:
        out[:, : sound.shape[1]] = sound[:, : out.shape[1]]
        return
    padded = np.pad(sound, ((0, 0), (_TAPS // 2, _TAPS // 2 + 1)))
    outputs = min(out.shape[1], int(sound.shape[1] / step))
    offsets = np.arange(_TAPS) - (_TAPS // 2 - 1)
    for begin in range(0, outputs, 1 << 14):
        position = np.arange(begin, min(begin + (1 << 14), outputs)) * step
        whole = position.astype(np.intp)
        distance = offsets - (position - whole)[:, None]
        taps = (np.sinc(distance) * np.cos(np.pi * distance / (_TAPS + 1)) ** 2).astype(np.float32)
        places = whole[:, None] + offsets + _TAPS // 2
        for row in range(2):
            out[row, begin : begin + whole.size] = np.einsum("ij,ij->i", padded[row][places], taps)
