"""Two tones told apart: correlators over one bit at both, the speed of the tape, the likelihood of each bit.

"Time" is counted in hops, about eight to a bit.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...contracts.soft_bits import CERTAIN
from .envelope_likelihood import log_bessel_i0

HOPS_A_BIT = 8
MOST_SPEED_ERROR = 0.1
STEEPEST = 6.0
"""Log ratio of the two powers beyond which more does not help to find the place of a bit."""
LEVEL_WORDS = 9
"""Words over which amplitudes and noise are averaged."""
LEVEL_BITS = 100
"""The same, where words are not known yet."""
ROUNDS = 3
"""How often levels and noise are estimated, each time with better likelihoods."""
FADE_BITS = 3
"""Bits over which a fade of both tones together is measured."""
INAUDIBLE = 0.0064
"""Power of both tones together, re the loud places of the louder track, below which nothing counts as heard (22 dB
down): noise that has a word to itself would pass for tones."""

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]


@dataclass(frozen=True)
class Correlators:
    """Running sums of one track mixed with each tone.

    Attributes:
        mark, space: complex, shape (hops + 1,).
    """

    mark: Complex
    space: Complex

    def heard(self, starts: Array, bit: float | Array) -> tuple[Complex, Complex]:
        """Mark and space in a window of one bit from each of ``starts``."""
        return _between(self.mark, starts, starts + bit), _between(self.space, starts, starts + bit)

    def powers(self, starts: Array, bit: float | Array) -> tuple[Array, Array]:
        """Their powers."""
        mark, space = self.heard(starts, bit)
        return _squared(mark), _squared(space)


@dataclass(frozen=True)
class EveryHop:
    """What the bit-long window that starts on each hop tells.

    Attributes:
        ratio: log(power at mark / power at space), within +-STEEPEST.
        likelihood: log-likelihood ratio of mark against space, roughly.
    """

    ratio: NDArray[np.float32]
    likelihood: NDArray[np.float32]


@dataclass(frozen=True)
class TonePair:
    """A tape heard at both tones.

    Attributes:
        tracks: the tracks that carry them.
        speed_error: how much faster than recorded the tape runs, as a share.
        hop_s: length of a hop.
        bit: hops a bit, at that speed.
    """

    tracks: tuple[Correlators, ...]
    speed_error: float
    hop_s: float
    bit: float

    @classmethod
    def listen(
        cls, rows: NDArray[np.float32], rate_hz: int, mark_hz: float, space_hz: float, baud_hz: float
    ) -> TonePair:
        """Correlators tuned to the speed of the tape, which the turning of the mark tone tells."""
        hop = max(1, round(rate_hz / baud_hz / HOPS_A_BIT))
        hop_s = hop / rate_hz
        # Four cycles turn by 0.4 of one at the largest speed error: no doubt which way.
        size = max(1, min(round(1.0 / (baud_hz * hop_s)), round(4.0 / (mark_hz * hop_s))))
        error = 0.0
        for _ in range(2):
            tones = [tone_hz * (1.0 + error) / rate_hz for tone_hz in (mark_hz, space_hz)]
            tracks = tuple(Correlators(*(_running(row, cycles, hop) for cycles in tones)) for row in rows)
            turning = sum(_turning(track, size) for track in tracks)
            tuned = error + float(np.angle(turning)) / (2 * math.pi * mark_hz * size * hop_s)
            error = min(MOST_SPEED_ERROR, max(-MOST_SPEED_ERROR, tuned))
        return cls(tracks, error, hop_s, 1.0 / (baud_hz * (1.0 + error) * hop_s))

    def every_hop(self) -> EveryHop:
        """What the windows that start on each hop tell."""
        from scipy.ndimage import uniform_filter1d

        hops = max(0, self.tracks[0].mark.size - math.ceil(self.bit))
        mark = np.sum([_power_at_every_hop(track.mark, self.bit, hops) for track in self.tracks], axis=0)
        space = np.sum([_power_at_every_hop(track.space, self.bit, hops) for track in self.tracks], axis=0)
        floor = 1e-9 * float(np.max(mark + space, initial=0.0)) + 1e-30
        mark, space = mark + floor, space + floor
        size = max(1, round(LEVEL_BITS * self.bit))
        loud = uniform_filter1d(np.maximum(mark, space), size, mode="nearest")
        quiet = uniform_filter1d(np.minimum(mark, space), size, mode="nearest")
        # For all but the smallest x, log I0(x) grows like x: only where a bit lies is decided with this.
        told = 2.0 * np.sqrt(np.maximum(loud / quiet - 1.0, 0.0)) * (np.sqrt(mark) - np.sqrt(space)) / np.sqrt(quiet)
        return EveryHop(
            np.clip(np.log(mark / space), -STEEPEST, STEEPEST).astype(np.float32),
            np.clip(told, -CERTAIN, CERTAIN).astype(np.float32),
        )

    def likelihood(self, places: Array, bits: Array) -> Array:
        """Log-likelihood ratio of mark against space.

        Noncoherent orthogonal detection, log I0(a_m |M|) - a_m**2 / 4 against the same at space (Proakis, Digital
        Communications, noncoherent detection; from memory), with amplitudes and noise taken from the words around: at
        first as each track alone decides its bits, then as all tracks together say (expectation and maximisation,
        A. P. Dempster, N. M. Laird and D. B. Rubin 1977). Noise that is the same on both tracks, as all of it is in a
        capture of one channel, says the same twice, and counts once.

        Args:
            places: start of each bit, in hops, shape (words, bits a word).
            bits: hops a bit in each word, shape (words,).

        Returns:
            shape of ``places``, within +-CERTAIN; the tracks added.
        """
        heard = [track.heard(places, bits[:, None]) for track in self.tracks]
        powers = [(_squared(mark), _squared(space)) for mark, space in heard]
        across = [left.conj() * right for left, right in zip(heard[0], heard[-1], strict=True)]
        usual = max((float(np.quantile(mark + space, 0.9)) for mark, space in powers if mark.size), default=0.0)
        marked = [(mark > space).astype(np.float64) for mark, space in powers]
        for _ in range(ROUNDS):
            each = [
                np.where(_over_bits(mark + space) >= INAUDIBLE * usual, _one_track(mark, space, chance), 0.0)
                for (mark, space), chance in zip(powers, marked, strict=True)
            ]
            told = np.clip(np.sum(each, axis=0) / _said_twice(powers, across, marked[0], each), -CERTAIN, CERTAIN)
            marked = [1.0 / (1.0 + np.exp(-told))] * len(powers)
        return np.asarray(told)


def _said_twice(powers: list[tuple[Array, Array]], across: list[Complex], marked: Array, each: list[Array]) -> float:
    """By how much the sum of the tracks claims too much: the variance of a sum of two that are correlated."""
    if len(powers) < 2 or marked.size == 0:
        return 1.0
    # The noise is at the tone that is not sent. No product of vectors: its own threads cost more than all the rest.
    in_space, in_mark = marked**2, (1.0 - marked) ** 2
    left, right = (float((in_space * space + in_mark * mark).sum()) for mark, space in powers)
    alike = abs(complex((in_mark * across[0] + in_space * across[1]).sum())) / max(math.sqrt(left * right), 1e-30)
    said = [float(np.abs(one).mean()) for one in each]
    return 1.0 + 2.0 * min(alike, 1.0) * math.sqrt(said[0] * said[1]) / max(sum(said), 1e-30)


def _one_track(mark: Array, space: Array, marked: Array) -> Array:
    """Log-likelihood ratio from one track's powers, given how likely each bit is a mark."""
    floor = 1e-9 * float(np.max(mark + space, initial=0.0)) + 1e-30
    noise = np.maximum(_around(marked * space + (1.0 - marked) * mark, np.ones_like(marked)), floor)
    gains = [
        np.maximum(_around(power, mine) / noise - 1.0, 1e-3) for power, mine in ((mark, marked), (space, 1.0 - marked))
    ]
    shares = [power / noise / (1.0 + gain) for power, gain in ((mark, gains[0]), (space, gains[1]))]
    fade = _fade(marked * shares[0] + (1.0 - marked) * shares[1])
    for_mark = log_bessel_i0(2.0 * np.sqrt(fade * gains[0] * mark / noise)) - fade * gains[0]
    for_space = log_bessel_i0(2.0 * np.sqrt(fade * gains[1] * space / noise)) - fade * gains[1]
    return np.asarray(for_mark - for_space)


def _running(row: NDArray[np.float32], cycles: float, hop: int) -> Complex:
    from ...kernels.tone_mixer import baseband

    return np.concatenate([[0], np.cumsum(baseband(row, cycles, hop))])


def _turning(track: Correlators, size: int) -> complex:
    """How far the mark tone turns from one window of ``size`` hops to the next, where there is mark in both."""
    mark = track.mark[size:] - track.mark[:-size]
    space = track.space[size:] - track.space[:-size]
    marked = mark.real**2 + mark.imag**2 > 3.0 * (space.real**2 + space.imag**2)
    product = (mark[size:] * mark[:-size].conj())[marked[size:] & marked[:-size]]
    return complex(product.sum())


def _read(total: Complex, places: Array) -> Complex:
    """A running sum read between hops."""
    bounded = np.clip(places, 0.0, total.size - 1.000001)
    below = bounded.astype(np.int64)
    part = bounded - below
    read: Complex = total[below] * (1.0 - part) + total[below + 1] * part
    return read


def _between(total: Complex, starts: Array, ends: Array) -> Complex:
    return _read(total, ends) - _read(total, starts)


def _squared(values: Complex) -> Array:
    return np.asarray(values.real**2 + values.imag**2)


def _power_at_every_hop(total: Complex, bit: float, hops: int) -> Array:
    """``_power`` of the first ``hops`` windows that start on a hop."""
    whole, part = int(bit), bit - int(bit)
    summed = total[whole : whole + hops] * (1.0 - part) - total[:hops]
    summed[: total.size - whole - 1] += part * total[whole + 1 : whole + 1 + hops]
    return _squared(summed)


def _around(values: Array, weights: Array) -> Array:
    """The weighted mean of the values over the words around, shape (words, 1)."""
    from scipy.ndimage import uniform_filter1d

    total = uniform_filter1d((weights * values).sum(axis=1), LEVEL_WORDS, mode="nearest")
    count = uniform_filter1d(weights.sum(axis=1), LEVEL_WORDS, mode="nearest")
    whole = float((weights * values).sum() / max(float(weights.sum()), 1e-9))
    mean: Array = np.where(count > 0.2, total / np.maximum(count, 1e-9), whole)[:, None]
    return mean


def _fade(share: Array) -> Array:
    """By how much both tones are weaker than around, at most 1, bit by bit."""
    return np.clip(_over_bits(share), 0.0, 1.0)


def _over_bits(power: Array) -> Array:
    """The mean over ``FADE_BITS`` bits, shape of ``power``."""
    from scipy.ndimage import uniform_filter1d

    smooth: Array = uniform_filter1d(power.ravel(), FADE_BITS, mode="nearest")
    return smooth.reshape(power.shape)
