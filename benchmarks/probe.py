"""What a channel lets through and what it adds, measured by sending signals through the model itself.

On each track stands a sine, which sets any level control as a recording of its level does, and on it a weak comb of
sines. The same random numbers wear every signal of one tape, so signals that differ in sign come back
differing in nothing else: half the sum of a recording and its inverse is what the channel adds whatever is recorded,
half the difference of two with opposite combs is what it makes of the comb. What lies there between the teeth, beyond
the slow changes that a receiver can follow, is noise that comes with the signal. Distortion of odd order falls on
teeth.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..contracts.channel_model import Channel
from ..contracts.signal import Signal
from ..contracts.streams import stream

HIGHEST_HZ = 20_000.0
_HIGHEST_SHARE = 0.45
"""Of the sample rate: the comb ends here or at the highest frequency."""

_FRAMES = 1 << 15
_TOOTH_BINS = 256
"""From one tooth to the next, in bins of ``_FRAMES``: 345 Hz at 44.1 kHz."""

_SETTLING_SHARE = 0.25
"""Of a second that is let go before anything is measured."""

_FOLLOWED_HZ = 80.0
"""A receiver follows changes slower than this, such as those of the contact of head and tape."""

_NOISE_FRAMES = 1 << 10
_COMB = 0.05
"""Rms of the comb re the sine."""


@dataclass(frozen=True, slots=True, eq=False)
class Probe:
    """One tape as probed, at the frequencies of the teeth.

    Attributes:
        tooth_hz: from one frequency to the next; each stands for so much bandwidth.
        response: complex gain from each track recorded to each track heard, shape (teeth, heard, recorded).
        noise: one-sided power density of what is added, full scale squared a Hz, shape (teeth, heard, heard).
        graininess: power of the noise that comes with the signal re the signal there, shape (teeth,).
    """

    tooth_hz: float
    response: NDArray[np.complex128]
    noise: NDArray[np.complex128]
    graininess: NDArray[np.float64]


def probe(channel: Channel, sample_rate_hz: int, seed: int, tape: int, sine_peak: float = 1.0) -> Probe:
    """What one tape does to a signal recorded at the level of a sine with that peak.

    The channel should hold still: what stretches time or cuts the sound out is taken for noise.
    """
    sine, comb, teeth = _sine_and_comb(sample_rate_hz)
    sine, comb = sine_peak * sine, sine_peak * comb

    def heard(left: NDArray[np.float64], right: NDArray[np.float64]) -> NDArray[np.float64]:
        sent = Signal(np.vstack([left, right]), sample_rate_hz)
        came = channel.degrade(sent, stream(seed, tape, "channel")).samples[:, : sine.size].astype(np.float64)
        return np.pad(came, ((0, 0), (0, sine.size - came.shape[1])))[:, -_FRAMES:]

    upright = heard(sine + comb, sine + comb)
    added = (upright + heard(-sine - comb, -sine - comb)) / 2
    of_both = _spectrum((upright - heard(sine - comb, sine - comb)) / 2)
    of_right = _spectrum((upright - heard(sine + comb, sine - comb)) / 2)[:, teeth]
    response = np.stack([of_both[:, teeth] - of_right, of_right], axis=2) / _spectrum(comb[-_FRAMES:])[teeth, None]
    graininess = _between_the_teeth(np.abs(of_both) ** 2, teeth, sample_rate_hz)
    return Probe(
        tooth_hz=_TOOTH_BINS * sample_rate_hz / _FRAMES,
        response=_beside_the_sine(response.swapaxes(0, 1)),
        noise=_density(added, teeth, sample_rate_hz),
        graininess=_beside_the_sine(graininess),
    )


def _beside_the_sine(by_tooth: NDArray[Any]) -> NDArray[Any]:
    """The second tooth's for the first, on which the sine stands."""
    return np.concatenate([by_tooth[1:2], by_tooth[1:]])


def _sine_and_comb(
    sample_rate_hz: int,
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.intp]]:
    """The sine, the comb and the bins of its teeth; the sine stands on the first.

    The comb's phases keep its peak low (M. R. Schroeder, IEEE Trans. IT-16, 1970).
    """
    bin_hz = sample_rate_hz / _FRAMES
    highest_hz = min(HIGHEST_HZ, _HIGHEST_SHARE * sample_rate_hz)
    teeth = np.arange(_TOOTH_BINS // 2, int(highest_hz / bin_hz), _TOOTH_BINS)
    number = np.arange(teeth.size)
    spectrum = np.zeros(_FRAMES // 2 + 1, np.complex128)
    spectrum[teeth] = np.exp(-1j * np.pi * number * (number + 1) / teeth.size)
    comb = np.fft.irfft(spectrum)
    comb *= _COMB / np.sqrt(2 * np.mean(comb**2))
    sine = np.sin(2 * np.pi * teeth[0] * np.arange(_FRAMES) / _FRAMES)
    settling = int(_SETTLING_SHARE * sample_rate_hz)
    return np.concatenate([sine[-settling:], sine]), np.concatenate([comb[-settling:], comb]), teeth


def _spectrum(rows: NDArray[np.float64]) -> NDArray[np.complex128]:
    return np.fft.rfft(rows * np.hanning(rows.shape[-1]))


def _density(added: NDArray[np.float64], teeth: NDArray[np.intp], sample_rate_hz: int) -> NDArray[np.complex128]:
    """The mean over each tooth's share of the band, of pieces that overlap by half (P. D. Welch 1967)."""
    window = np.hanning(_NOISE_FRAMES)
    pieces = np.lib.stride_tricks.sliding_window_view(added, _NOISE_FRAMES, axis=1)[:, :: _NOISE_FRAMES // 2]
    spectra = np.fft.rfft(pieces * window)
    across = np.einsum("apf,bpf->fab", spectra, spectra.conj()) / spectra.shape[1]
    wide = _TOOTH_BINS * _NOISE_FRAMES // _FRAMES
    edges = (teeth - _TOOTH_BINS // 2) * _NOISE_FRAMES // _FRAMES
    shares = np.stack([across[np.maximum(edges + place, 1)] for place in range(wide)])
    density: NDArray[np.complex128] = shares.mean(axis=0) * 2 / (sample_rate_hz * np.sum(window**2))
    return density


def _between_the_teeth(power: NDArray[np.float64], teeth: NDArray[np.intp], sample_rate_hz: int) -> NDArray[np.float64]:
    nearest = max(3, int(np.ceil(_FOLLOWED_HZ * _FRAMES / sample_rate_hz)))
    away = np.arange(nearest, _TOOTH_BINS // 2)
    between = power[:, np.concatenate([teeth[:, None] - away, teeth[:, None] + away], axis=1)].mean(axis=2).sum(axis=0)
    window = np.hanning(_FRAMES)
    tooth = power[:, teeth].sum(axis=0) * np.sum(window**2) / np.sum(window) ** 2
    smooth = np.ones(5) / 5
    ratio = np.convolve(np.pad(between, 2, "edge"), smooth, "valid") / np.maximum(
        np.convolve(np.pad(tooth, 2, "edge"), smooth, "valid"), 1e-30
    )
    return np.asarray(ratio * _TOOTH_BINS / _FRAMES)
