"""How many bits each carrier bears: the points that bits are sent as, and what is heard of them read as bits again.

Carriers that are heard well may bear more bits than others (bit loading: D. Hughes-Hartogs, US patent 4,679,227, 1987;
from memory). A tape is written before it is known how it will be heard, so what each band bears is part of the format.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from ...contracts.bits import Bits

Points = NDArray[np.complex64]
Power = NDArray[np.float32]

_SUREST = 30.0


@dataclass(frozen=True, slots=True, eq=False)
class Constellation:
    """Points of a carrier, of mean power 1: Gray-coded amplitudes on two axes, or on one for a single bit.

    Attributes:
        bits: on a carrier: 1, 2, 4, 6 or 8.
        levels: shape (2**bits an axis,): amplitude for each value of an axis' bits, the first bit on top.
    """

    bits: int
    levels: NDArray[np.float32]

    @property
    def axes(self) -> int:
        """How many axes carry bits."""
        return 1 if self.bits == 1 else 2

    def points(self, bits: Bits) -> Points:
        """The points for ``bits``, shape (..., carriers * bits) in, (..., carriers) out."""
        an_axis = self.bits // self.axes
        weights = 1 << np.arange(an_axis - 1, -1, -1)
        values = bits.reshape(*bits.shape[:-1], -1, self.axes, an_axis) @ weights
        amplitudes = self.levels[values]
        if self.axes == 1:
            return np.asarray(amplitudes[..., 0], np.complex64)
        return np.asarray(amplitudes[..., 0] + 1j * amplitudes[..., 1], np.complex64)

    def posterior(self, sent: Points, noise: Power) -> tuple[Points, Power]:
        """What was sent in the mean, and its variance, given that all points are equally likely."""
        axes, nearness = self._axes(sent), -1 / noise
        nearest = axes - self.levels[0]
        for level in self.levels[1:]:
            nearest = np.where(np.abs(axes - level) < np.abs(nearest), axes - level, nearest)
        total, first, second = (np.zeros_like(axes) for _ in range(3))
        for level in self.levels:
            weight = np.exp(((axes - level) ** 2 - nearest**2) * nearness)
            total += weight
            first += weight * level
            second += weight * level**2
        mean = first / total
        doubt = np.maximum(second / total - mean**2, 0).sum(axis=0)
        return np.asarray(mean[0] if self.axes == 1 else mean[0] + 1j * mean[1], np.complex64), doubt

    def likelihoods(self, sent: Points, noise: Power) -> Power:
        """Log-likelihood ratios by the nearest levels, (symbols, 2, carriers) in, (symbols, 2, carriers * bits) out."""
        axes = self._axes(sent)
        distances = [(axes - level) ** 2 for level in self.levels]
        found = []
        for bit in range(self.bits // self.axes - 1, -1, -1):
            zero, one = (
                np.minimum.reduce([distance for value, distance in enumerate(distances) if value >> bit & 1 == wanted])
                for wanted in (0, 1)
            )
            found.append((zero - one) / noise)
        return np.asarray(np.stack(found, -1).transpose(1, 2, 3, 0, 4).reshape(len(sent), 2, -1), np.float32)

    def _axes(self, sent: Points) -> Power:
        """The axes that carry bits, shape (axes, ...)."""
        return sent.real[None] if self.axes == 1 else np.stack([sent.real, sent.imag])


@cache
def constellation(bits: int) -> Constellation:
    """The constellation with that many bits a carrier.

    >>> [round(float(level), 2) for level in constellation(4).levels]
    [-0.95, -0.32, 0.95, 0.32]
    """
    an_axis = max(bits // 2, 1)
    order = np.arange(1 << an_axis)
    gray = order ^ (order >> 1)
    steps = np.empty(order.size)
    steps[gray] = 2 * order - (order.size - 1)
    power = np.mean(steps**2) * (1 if bits == 1 else 2)
    return Constellation(bits, (steps / np.sqrt(power)).astype(np.float32))


@dataclass(frozen=True, slots=True)
class Loading:
    """What the carriers of a track bear, in bands from the lowest carrier up.

    Attributes:
        bands: how many carriers, and how many bits each of them bears.
    """

    bands: tuple[tuple[int, int], ...]

    @property
    def track_bits(self) -> int:
        """Bits in a symbol of one track."""
        return sum(carriers * bits for carriers, bits in self.bands)

    @property
    def blind_power(self) -> int:
        """The power of the points that does not depend on their bits."""
        return 2 if self.bands[0][1] == 1 else 4

    def points(self, bits: Bits) -> Points:
        """The points for ``bits``, shape (..., track_bits) in, (..., carriers) out."""
        ends = np.cumsum([carriers * bits_each for carriers, bits_each in self.bands])
        parts = np.split(bits, ends[:-1], axis=-1)
        each = [constellation(bits_each).points(part) for (_, bits_each), part in zip(self.bands, parts, strict=True)]
        return np.concatenate(each, axis=-1)

    def posterior(self, sent: Points, noise: Power) -> tuple[Points, Power]:
        """What was sent in the mean, and its variance, both of the shape of ``sent``."""
        mean, doubt = np.empty_like(sent), np.empty_like(noise)
        for part, points in self._parts():
            mean[..., part], doubt[..., part] = points.posterior(sent[..., part], noise[..., part])
        return mean, doubt

    def likelihoods(self, sent: Points, noise: Power) -> Power:
        """Log-likelihood ratios in the order of the tape: even bits left, odd right; (symbols, bits of a symbol)."""
        each = [points.likelihoods(sent[..., part], noise[..., part]) for part, points in self._parts()]
        in_order = np.concatenate(each, axis=-1).swapaxes(1, 2).reshape(len(sent), -1)
        return np.asarray(np.clip(in_order, -_SUREST, _SUREST), np.float32)

    def _parts(self) -> list[tuple[slice, Constellation]]:
        ends = np.cumsum([carriers for carriers, _ in self.bands]).tolist()
        return [
            (slice(end - carriers, end), constellation(bits))
            for end, (carriers, bits) in zip(ends, self.bands, strict=True)
        ]
