"""Finds the known symbols of a multicarrier leader: one correlation of the whole capture, summed in the pairs' pattern.

Every third pair sends one and the same sound; where its correlations, with the signs of their pairs, add up over the
whole leader is the only place where the pattern fits. Both tracks and both that were sent are added by power, so
neither polarity, nor crosstalk, nor swapped tracks matter.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from .multicarrier_symbols import ALIKE_EVERY, BODY, SYMBOL, Layout, pair_signs

_BLOCK = 1 << 14
_MOST_PAIRS = 20
_MOST_CANDIDATES = 5


def leader_ends(samples: NDArray[np.float32], layout: Layout, training: int) -> list[int]:
    """Where the body of the first header may start, the most likely place first; empty if there is no sound.

    Of a leader whose beginning is missing so little may be left that the pattern fits in other places as well.

    Args:
        samples: straightened, shape (2, places).
        training: known symbols before the first header.
    """
    places = samples.shape[1]
    if places < BODY or not np.any(samples):
        return []
    spectrum = np.zeros(BODY // 2 + 1, np.complex64)
    spectrum[layout.carriers] = layout.training(np.array([1]))[0, 0] * pair_signs(np.array([0]))
    alike = _correlation(samples, np.fft.irfft(spectrum).astype(np.float32))
    pairs = np.arange(0, min(training // 2, ALIKE_EVERY * _MOST_PAIRS), ALIKE_EVERY)
    fit = np.zeros(places, np.float32)
    for row in alike:
        plain, turned = np.zeros(places, np.float32), np.zeros(places, np.float32)
        for pair, sign in zip(pairs, pair_signs(pairs), strict=True):
            near, far = (2 * pair + 1) * SYMBOL, (2 * pair + 2) * SYMBOL
            if near < places:
                plain[near:] += sign * row[: places - near]
                turned[near:] += sign * row[: places - near]
            if far < places:
                plain[far:] += sign * row[: places - far]
                turned[far:] -= sign * row[: places - far]
        fit += plain**2 + turned**2
    best = int(fit.argmax())
    others = best + 2 * ALIKE_EVERY * SYMBOL * np.arange(-pairs.size + 1, pairs.size)
    others = others[(others >= 0) & (others < places)]
    return [int(place) for place in others[np.argsort(-fit[others], kind="stable")]][:_MOST_CANDIDATES]


def _correlation(samples: NDArray[np.float32], sound: NDArray[np.float32]) -> NDArray[np.float32]:
    """How much the samples from each place on resemble ``sound``, shape (2, places)."""
    places = samples.shape[1]
    wanted = np.fft.rfft(sound, _BLOCK).conj()
    out = np.empty_like(samples)
    step = _BLOCK - sound.size + 1
    for begin in range(0, places, step):
        block = samples[:, begin : begin + _BLOCK]
        found = np.fft.irfft(np.fft.rfft(block, _BLOCK, axis=1) * wanted, axis=1)
        count = min(step, places - begin)
        out[:, begin : begin + count] = found[:, :count]
    return out
