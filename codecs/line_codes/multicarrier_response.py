"""How the tracks are heard: 2 x 2 responses and noise at each carrier, learnt from known points and kept up to date.

At each carrier ``heard = gain * (matrix @ sent) + noise``. The matrix is the least-squares fit over all symbols yet,
each weighted by how little noise it has; the sums that it comes from are kept, older ones forgotten little by little,
so that points that are only probably right improve what the leader began.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .multicarrier_loading import Points
from .multicarrier_symbols import Layout

Power = NDArray[np.float32]

FEWEST_SYMBOLS = 4
_ROUNDS = 4
_NEIGHBOURS = 7
_BAND = 25
_LEAST_GAIN = 0.02
_QUIETEST = np.float32(0.05)
_MEDIAN = np.float32(np.log(2))
"""Median of the power of Gaussian noise re its mean."""
_GAIN_SPREAD = 0.15
"""How far from 1 a gain strays, as a rule, once the level is known."""


@dataclass(frozen=True, slots=True, eq=False)
class Response:
    """How the tracks are heard.

    Attributes:
        normal: sums of weight * sent sent^H, shape (2 heard, carriers, 2, 2).
        right: sums of weight * heard * conj(sent), shape (2 heard, carriers, 2).
        noise: power at each carrier, shape (2 heard, carriers).
        least_noise: below which no silence takes it, same shape.
    """

    normal: Points
    right: Points
    noise: Power
    least_noise: Power

    @property
    def matrix(self) -> Points:
        """Shape (carriers, 2 heard, 2 sent)."""
        return _solved(self.normal, self.right)

    def improved(self, level: Points, sent: Points, unsure: Power, noise: Power, kept: float) -> Response:
        """With the points of more symbols; as much of the earlier ones is forgotten as there is new, but no more.

        Args:
            level: what was heard, its gain taken off, shape (symbols, 2 heard, carriers).
            sent: the points in the mean, shape (symbols, 2 sent, carriers).
            unsure: their variance, same shape.
            noise: of ``level``, same shape.
            kept: what the earlier sums count at least.
        """
        normal, right = _sums(level, sent, np.float32(1) / noise)
        own = np.einsum("smk,sik->mki", 1 / noise, unsure)
        normal[..., 0, 0] += own[..., 0]
        normal[..., 1, 1] += own[..., 1]
        earlier, new = (np.trace(sums, axis1=-2, axis2=-1).real for sums in (self.normal, normal))
        left = 1 - np.minimum(1 - kept, new / np.maximum(earlier, 1e-30))
        normal += (left[..., None, None] * self.normal).astype(np.complex64)
        right += (left[..., None] * self.right).astype(np.complex64)
        return Response(normal, right, self.noise, self.least_noise)

    def quieter(self, misfit: Power, excess: Power, kept: float) -> Response:
        """With the noise of more symbols.

        Args:
            misfit: power of what was heard beyond what was expected, shape (symbols, 2 heard, carriers).
            excess: noise of each symbol re the noise so far, same shape: a symbol counts by what is usual among them.
            kept: what the earlier noise still counts.
        """
        usual = np.median(excess, axis=0)
        noise = spread((misfit * (usual / excess)).mean(axis=0), _NEIGHBOURS)
        mixed = np.asarray(kept * self.noise + (1 - kept) * noise, np.float32)
        return Response(self.normal, self.right, np.maximum(mixed, self.least_noise), self.least_noise)

    @property
    def signal_to_noise(self) -> float:
        """Power of what is heard of the points re the noise, in the mean over carriers and tracks."""
        power = (np.abs(self.matrix) ** 2).sum(axis=2).T
        return float(np.mean(power / self.noise))


def _solved(normal: Points, right: Points) -> Points:
    """The matrices of these sums, shape (carriers, 2 heard, 2 sent)."""
    regular = normal + (1e-6 * float(np.abs(normal).max()) + 1e-30) * np.eye(2)
    solved = np.linalg.solve(regular.swapaxes(-1, -2), right[..., None])[..., 0]
    return np.asarray(solved.swapaxes(0, 1), np.complex64)


def _sums(level: Points, sent: Points, weight: Power) -> tuple[Points, Points]:
    normal = np.einsum("smk,sik,sjk->mkij", weight, sent, sent.conj(), optimize=True)
    right = np.einsum("smk,sik->mki", level * weight, sent.conj(), optimize=True)
    return normal.astype(np.complex64), right.astype(np.complex64)


def learnt(spectra: Points, sent: Points, alike: NDArray[np.bool_], layout: Layout) -> Response | None:
    """The responses and the noise from symbols that are known; None from too few.

    Args:
        spectra: what was heard, shape (symbols, 2, carriers).
        sent: what was sent, same shape.
        alike: which symbols have the same points as others: what saturation adds to them is always the same, so
            together they count no more than one.
    """
    if len(spectra) < FEWEST_SYMBOLS:
        return None
    slopes = gain_slopes(layout)
    often = np.where(alike, 2 / max(int(alike.sum()), 2), 1.0)[:, None, None].astype(np.float32)
    gain = _usual_level(spectra)
    trust = often
    for _ in range(_ROUNDS):
        weight = trust * np.abs(gain) ** 2
        matrix = _solved(*_sums(spectra / gain, sent, weight))
        expected = through(matrix, sent) * gain
        misfit = np.abs(spectra - expected) ** 2
        freedom = 1 - 2 / max(float(often.sum()), 3.0)
        noise = spread(np.median(misfit, axis=0), _NEIGHBOURS) / (_MEDIAN * freedom)
        noise = np.maximum(noise, 1e-9 * np.mean(np.abs(spectra) ** 2) + 1e-30).astype(np.float32)
        trust = often / np.maximum((misfit / noise).mean(axis=2, keepdims=True), 1.0)
        gain = gain * fitted_gain(spectra, expected, 0.0, noise, slopes)
    return Response(*_sums(spectra / gain, sent, trust * np.abs(gain) ** 2 / noise), noise, _QUIETEST * noise)


def _usual_level(spectra: Points) -> Points:
    """How loud each symbol is re most of them, band by band, shape (symbols, 2, carriers).

    Taken with its neighbours, as in a pair crosstalk makes one symbol louder and the other weaker.
    """
    power: Power = spread(np.abs(spectra) ** 2, _BAND)
    padded = np.concatenate((power[:1], power, power[-1:]))
    power = np.asarray((padded[:-2] + 2 * padded[1:-1] + padded[2:]) / 4, np.float32)
    usual = np.median(power, axis=0)
    share = power / np.maximum(usual, 1e-9 * usual.max() + 1e-30)
    return np.asarray(np.clip(np.sqrt(share), _LEAST_GAIN, 1.0), np.complex64)


def gain_slopes(layout: Layout) -> Power:
    """Functions of the carrier that a gain is made of: level, slope, bend; shape (3, carriers)."""
    place = (layout.carriers - layout.carriers.mean()) / (np.ptp(layout.carriers) / 2)
    return np.stack([np.ones_like(place), place, place**2 - 1 / 3]).astype(np.float32)


def fitted_gain(
    heard: Points,
    expected: Points,
    unsure: Power | float,
    noise: Power,
    slopes: Power,
) -> Points:
    """``heard / expected`` as 1 plus a sum of ``slopes``, weighted by what is sure; shape (symbols, 2, carriers).

    Args:
        unsure: variance of what is expected.
    """
    weight = (np.abs(expected) ** 2 + unsure) / noise
    size = len(slopes)
    products = (slopes[:, None] * slopes).reshape(size * size, -1)
    normal = (weight @ products.T).reshape(*weight.shape[:2], size, size) + np.eye(size) / _GAIN_SPREAD**2
    ratio = ((heard - expected) * expected.conj() - unsure) / noise
    right = ratio @ slopes.T
    parts = np.linalg.solve(normal, right[..., None])[..., 0]
    return np.asarray(1 + parts @ slopes, np.complex64)


def spread(power: Power, carriers: int) -> Power:
    """A running mean along the last axis, mirrored at the ends."""
    padded = np.pad(power, [(0, 0)] * (power.ndim - 1) + [(carriers // 2 + 1, carriers // 2)], mode="reflect")
    sums = np.cumsum(padded, axis=-1, dtype=np.float64)
    return np.asarray((sums[..., carriers:] - sums[..., :-carriers]) / carriers, np.float32)


def through(matrix: NDArray[Any], across: NDArray[Any]) -> NDArray[Any]:
    """A matrix at each carrier, shape (carriers, 2, 2), times the two tracks, shape (symbols, 2, carriers)."""
    return np.asarray(matrix[:, :, 0].T * across[:, :1] + matrix[:, :, 1].T * across[:, 1:])
