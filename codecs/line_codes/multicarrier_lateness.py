"""How late each symbol of a multicarrier tape is, in places of the grid, once the time base has done what it can.

A tape that nobody hears for a tenth of a second flutters on, and comes back early or late by more than the tone can
tell. In the leader a symbol is compared with what is known; in the data, with itself: the fourth power of the points
does not depend on the bits, so over all carriers it adds up only for the right delay. A path through the symbols moves
little, or leaps at a price.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from .multicarrier_loading import Points
from .multicarrier_symbols import BODY, Layout

FARTHEST = 40
_STEP = 0.5
GRID = np.arange(-FARTHEST, FARTHEST + _STEP / 2, _STEP)
"""Delays that are tried: the fourth power has half its height 0.6 places away."""
_FINE = np.arange(-0.6, 0.61, 0.1)
_FINE_PRICE = 0.12
"""What a place speaks against a delay, squared, re all carriers' full agreement: noise would go to either end."""
_NEIGHBOURS = (1 / 3, 2 / 3, 1.0, 2 / 3, 1 / 3)
_LEAP = 4.0
"""Price of a leap re the standard deviation of the fit of noise: the best of 161 delays comes to 3 in noise."""
_DRIFT_PRICE = 0.02
_PASSES = 3


def _fits(folds: Points, power: int, layout: Layout) -> NDArray[np.float32]:
    """How well carriers that turn ``power`` times as fast as theirs agree on each delay of the grid.

    As delays and carriers are evenly spaced, this is a Fourier transform: (symbols, carriers) to (symbols, delays).
    """
    size = round(BODY / (power * _STEP))
    spectrum = np.zeros((len(folds), size), np.complex64)
    spectrum[:, layout.carriers] = folds
    delays = np.rint(GRID / _STEP).astype(np.intp) % size
    return np.asarray(np.fft.ifft(spectrum, axis=1, norm="forward").real[:, delays], np.float32)


def known_lateness(product: Points, layout: Layout) -> NDArray[np.float64]:
    """How late known symbols are re what most of them agree on, shape (symbols,).

    Args:
        product: heard times the conjugate of what was sent, shape (symbols, parts, carriers), in which nothing but
            the response and the delay is left.
    """
    late = np.zeros(len(product))
    for _ in range(_PASSES):
        straight = product * np.exp(2j * np.pi * late[:, None, None] * layout.carriers / BODY)
        common = straight.sum(axis=0)
        late = GRID[_fits((product * common.conj()).sum(axis=1), 1, layout).argmax(axis=1)]
    return np.asarray(late)


def folded(sent: Points, weight: NDArray[np.float32], power: int) -> Points:
    """Points without their data: their directions to that power, weighted, shape (symbols, 2, carriers)."""
    direction = sent / np.maximum(np.abs(sent), 1e-12)
    sign = 1 if power == 2 else -1
    return np.asarray(sign * direction**power * weight, np.complex64)


def path(folds: Points, power: int, layout: Layout, begins: float) -> NDArray[np.float64]:
    """How late each symbol is, both tracks together, on the path that fits best from ``begins`` on, (symbols,)."""
    fits = _fits(folds.sum(axis=1), power, layout)
    leap = _LEAP * float(np.sqrt(layout.carriers.size))
    best = np.where(np.abs(GRID - begins) <= _STEP, 0.0, -leap)
    came = np.empty(fits.shape, np.intp)
    own = np.arange(GRID.size)
    for number, fit in enumerate(fits):
        top = int(best.argmax())
        score, origin = best.copy(), own.copy()
        for there, here in ((slice(1, None), slice(None, -1)), (slice(None, -1), slice(1, None))):
            beside = best[there] - _DRIFT_PRICE * leap
            better = beside > score[here]
            score[here][better], origin[here][better] = beside[better], own[there][better]
        leaps = best[top] - leap > score
        score, origin = np.where(leaps, best[top] - leap, score), np.where(leaps, top, origin)
        came[number], best = origin, score + fit
    places = np.empty(len(fits), np.intp)
    places[-1] = best.argmax()
    for number in range(len(fits) - 1, 0, -1):
        places[number - 1] = came[number, places[number]]
    return np.asarray(GRID[places])


def refined(folds: Points, power: int, layout: Layout, late: NDArray[np.float64]) -> NDArray[np.float64]:
    """``late`` of each symbol, for each track by itself and to a tenth of a place, shape (symbols, 2).

    What is left of it changes slowly, so neighbours have a say: many points are noise enough in themselves.
    """
    turns = np.exp(2j * np.pi * power * layout.carriers / BODY * late[:, None, None])
    padded = np.pad(folds * turns, ((2, 2), (0, 0), (0, 0)))
    together = sum(weight * padded[shift : shift + len(folds)] for shift, weight in enumerate(_NEIGHBOURS))
    around = np.exp(2j * np.pi * power * np.outer(layout.carriers, _FINE) / BODY)
    fits = np.einsum("stk,kd->std", together, around).real
    fits -= _FINE_PRICE * layout.carriers.size * _FINE**2
    return np.asarray(late[:, None] + _FINE[fits.argmax(axis=-1)])
