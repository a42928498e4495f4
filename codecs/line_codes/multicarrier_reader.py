"""Reads the symbols of a multicarrier tape one block after the other into likelihoods."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from .multicarrier_lateness import folded, path, refined
from .multicarrier_loading import Loading, Points
from .multicarrier_response import Power, Response, fitted_gain, gain_slopes, spread, through
from .multicarrier_tape import Tape, turned

_AHEAD = 8
"""Symbols after a block by which it is decided whether the tape has leapt in it."""
_BANDS = 12
_LEAST_GAIN, _MOST_GAIN = 0.02, 3.0
_CLEARLY = 0.8
_UNHEARD = np.float32(1e6)
_MOST_ROUNDS = 8
_STRIDE = np.float32(1.8)
"""What is not known for sure holds each round back: it aims further than it says."""
_SETTLED = 0.002
_KEPT = 0.8
"""What earlier symbols still count after each block."""
_FITTED_AWAY = np.float32(1.06)
"""Noise re what does not fit: gains, responses and the guess at the points take some of it (calibrated on tapes)."""
_BAND, _TRUST = 61, 4
"""Carriers over which a symbol's own noise is taken, and how many the noise so far counts for."""


class Reader:
    """Reads symbols in order; carries on how late the tape has become and how it is heard."""

    def __init__(self, tape: Tape, response: Response, loading: Loading, late: float) -> None:
        self.tape, self.loading, self.late = tape, loading, late
        self.slopes = gain_slopes(tape.layout)
        self._hear(response)

    def _hear(self, response: Response) -> None:
        self.response, self.matrix = response, response.matrix
        self.inverse = np.linalg.pinv(self.matrix, rcond=1e-3).astype(np.complex64)
        self.source = (np.abs(self.matrix) ** 2).sum(axis=0).argmax(axis=1)

    def soft_bits(self, numbers: NDArray[np.intp]) -> Power:
        """Likelihoods of the bits of these symbols in the order of the tape, shape (symbols, bits of a symbol)."""
        late = self._lateness(numbers)
        spectra = self.tape.spectra(numbers, late.mean(axis=1))
        gain = self._start(spectra, turned(self.tape.layout, late[:, self.source]))
        usual = self.response.noise
        excess: Power = np.ones_like(spectra.real)
        for _ in range(_MOST_ROUNDS):
            expected, unsure = self._expected(spectra, gain, excess)
            step = fitted_gain(spectra, expected, unsure, usual * excess, self.slopes)
            gain = _bounded(gain * (1 + _STRIDE * (step - 1)))
            misfit = np.abs(spectra - expected * step) ** 2 + unsure
            excess = (_BAND * spread(misfit / usual, _BAND) + _TRUST) / np.float32(_BAND + _TRUST)
            if np.abs(step - 1).mean() < _SETTLED:
                break
        level, noise = spectra / gain, usual * excess / np.abs(gain) ** 2
        sent, sent_noise = self._sent(level), self._sent_noise(noise)
        mean, doubt = self.loading.posterior(sent, sent_noise)
        self.late = float(np.median(late[-_AHEAD:]))
        self._hear(self.response.improved(level, mean, doubt, noise, _KEPT).quieter(misfit, excess, _KEPT))
        return self.loading.likelihoods(sent, _FITTED_AWAY * sent_noise)

    def _start(self, spectra: Points, turn: Points) -> Points:
        """The gain to begin with: the usual level, unless the power says so clearly that it has changed.

        Many points differ in power, so a symbol may be louder by its data alone.
        """
        none = np.ones_like(spectra.real)
        tried = (turn * none, turn * self._level(spectra))
        fits = []
        for gain in tried:
            expected, unsure = self._expected(spectra, gain, none)
            misfit = np.abs(spectra - expected) ** 2 + unsure
            fits.append((misfit / self.response.noise).mean(axis=-1, keepdims=True))
        return np.where(fits[1] < _CLEARLY * fits[0], tried[1], tried[0])

    def _expected(self, spectra: Points, gain: Points, excess: Power) -> tuple[Points, Power]:
        """What should be heard of the points in the mean, given what is, and its variance; (symbols, 2, carriers)."""
        power = np.abs(gain) ** 2
        sent, noise = self._sent(spectra / gain), self._sent_noise(self.response.noise * excess / power)
        mean, doubt = self.loading.posterior(sent, noise)
        return self._heard(mean) * gain, self._heard_power(doubt) * power

    def _sent(self, level: Points) -> Points:
        return np.asarray(through(self.inverse, level), np.complex64)

    def _sent_noise(self, noise: Power) -> Power:
        sent = through(np.abs(self.inverse) ** 2, noise)
        return np.where(sent > 0, sent, _UNHEARD).astype(np.float32)

    def _heard(self, sent: Points) -> Points:
        return np.asarray(through(self.matrix, sent), np.complex64)

    def _heard_power(self, sent: Power) -> Power:
        return np.asarray(through(np.abs(self.matrix) ** 2, sent), np.float32)

    def _level(self, spectra: Points) -> Power:
        """Level and slope of each symbol and track by the power in bands, shape (symbols, 2, carriers)."""
        power = (np.abs(self.matrix) ** 2).sum(axis=2).T
        bands = np.array_split(np.arange(power.shape[1]), _BANDS)
        heard = np.stack([(np.abs(spectra[..., band]) ** 2).mean(axis=-1) for band in bands], -1)
        wanted = np.stack([power[:, band].mean(axis=-1) for band in bands], -1)
        lost = np.stack([self.response.noise[:, band].mean(axis=-1) for band in bands], -1)
        share = np.clip((heard - lost) / np.maximum(wanted, lost.min() + 1e-30), _LEAST_GAIN**2, 10.0)
        weight = heard / (heard + 10 * lost)
        basis = np.stack([np.ones(_BANDS), np.linspace(-1, 1, _BANDS)])
        normal = np.einsum("smb,ib,jb->smij", weight, basis, basis) + 1e-3 * np.eye(2)
        right = np.einsum("smb,ib->smi", weight * np.log(share) / 2, basis)
        parts = np.linalg.solve(normal, right[..., None])[..., 0]
        return np.asarray(np.exp(np.clip(parts @ self.slopes[:2], np.log(_LEAST_GAIN), 1.0)), np.float32)

    def _lateness(self, numbers: NDArray[np.intp]) -> NDArray[np.float64]:
        """How late each of these symbols is on each track that was sent, shape (symbols, 2)."""
        layout = self.tape.layout
        further = np.concatenate((numbers, numbers[-1] + 1 + np.arange(_AHEAD)))
        whole = np.full(further.size, np.rint(self.late))
        spectra = self.tape.spectra(further, whole)
        gain = self._level(spectra)
        power = self.loading.blind_power
        sent = self._sent(spectra / (gain * turned(layout, whole)))
        weight = np.asarray(1 / (1 + self._sent_noise(self.response.noise / gain**2)), np.float32)
        folds = folded(sent, weight, power)
        late = path(folds, power, layout, self.late - whole[0])
        return np.asarray(whole[0] + refined(folds, power, layout, late)[: numbers.size])


def _bounded(gain: Points) -> Points:
    """``gain`` no weaker and no stronger than a tape can make it: in noise nothing else holds it."""
    size = np.abs(gain)
    return np.asarray(gain * (np.clip(size, _LEAST_GAIN, _MOST_GAIN) / np.maximum(size, 1e-12)), np.complex64)
