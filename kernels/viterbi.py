"""The best paths through a convolutional code's trellis: for each data bit the better of a 0 and of a 1.

A state is the last K - 1 bits, the newest on top; from states 2 n and 2 n + 1 the next bit leads to n if it is a 0 and
to n + half if it is a 1. Both generators tap the newest and the oldest bit, so the four coded pairs of such a crossing
are one pair and its complement, and one metric serves all four: half the sum of the log-likelihood ratios that a
path agrees with less half of those it contradicts.

Forward metrics are kept every ``WINDOW_STEPS`` steps only and computed again, window by window, on the way back: memory
beyond the input is a few hundred bytes a window. The sign of the result is the bit of the most likely word (A. J.
Viterbi 1967); its size is the max-log likelihood ratio.

Places are unsigned: only then does a loop not ask whether they count from the end, and is vectorised.
"""

from __future__ import annotations

import numpy as np
from numba import types
from numpy.typing import NDArray

from .compiled import compiled

WINDOW_STEPS = 1024
_LEVEL_STEPS = 16  # float32 keeps its precision if the first metric is taken off this often
_NEVER = np.float32(-1e6)
_READ = types.Array(types.float32, 1, "C", readonly=True)
_FLOATS = types.Array(types.float32, 1, "C")
_1 = np.uint64(1)


@compiled(types.void(_FLOATS, _READ, _READ, _READ, _READ), fastmath=True)
def _forward(
    ahead: NDArray[np.float32],
    first: NDArray[np.float32],
    second: NDArray[np.float32],
    first_signs: NDArray[np.float32],
    second_signs: NDArray[np.float32],
) -> None:
    """Rows 1, 2 ... of ``ahead``, the metrics after each step, from row 0."""
    half = np.uint64(first_signs.size)
    states = half + half
    for step in range(first.size):
        row = np.uint64(step) * states
        one, other = first[step], second[step]
        base = ahead[row] if step % _LEVEL_STEPS == 0 else np.float32(0)
        before = ahead[row : row + states]
        low = ahead[row + states : row + states + half]
        high = ahead[row + states + half : row + states + states]
        for place in range(half):
            n = np.uint64(place)
            metric = one * first_signs[n] + other * second_signs[n]
            even = before[n + n] - base
            odd = before[n + n + _1] - base
            low[n] = max(even + metric, odd - metric)
            high[n] = max(even - metric, odd + metric)


@compiled(types.void(_READ, _READ, _READ, _READ, _FLOATS), fastmath=True)
def best_paths(
    first: NDArray[np.float32],
    second: NDArray[np.float32],
    first_signs: NDArray[np.float32],
    second_signs: NDArray[np.float32],
    likelihoods: NDArray[np.float32],
) -> None:
    """Log-likelihood ratio of each step's bit, on paths that start and end in the state of zeros.

    Args:
        first, second: log-likelihood ratios of the two coded bits of a step, shape (steps,); 0 where none was sent.
        first_signs, second_signs: +0.5 if the generator gives a 1 for a 0 after state 2 n, else -0.5; shape (half,).
        likelihoods: written, shape (steps,); positive is 1.
    """
    steps = first.size
    half = np.uint64(first_signs.size)
    states = half + half
    windows = (steps + WINDOW_STEPS - 1) // WINDOW_STEPS
    kept = np.full(np.uint64(windows + 1) * states, _NEVER, np.float32)
    kept[0] = 0
    ahead = np.empty(np.uint64(WINDOW_STEPS + 1) * states, np.float32)
    behind = np.full(states, _NEVER, np.float32)
    behind[0] = 0
    earlier = np.empty(states, np.float32)
    for turn in range(2 * windows - 1):
        window = turn if turn < windows else 2 * windows - 2 - turn
        start = window * WINDOW_STEPS
        stop = min(start + WINDOW_STEPS, steps)
        begin = np.uint64(window) * states
        ahead[:states] = kept[begin : begin + states]
        _forward(ahead, first[start:stop], second[start:stop], first_signs, second_signs)
        last = np.uint64(stop - start) * states
        if turn < windows - 1:
            kept[begin + states : begin + states + states] = ahead[last : last + states]
            continue
        for step in range(stop - start - 1, -1, -1):
            row = np.uint64(step + 1) * states
            reached = ahead[row : row + states]
            zero, unity = 8 * _NEVER, 8 * _NEVER
            for place in range(half):
                n = np.uint64(place)
                zero = max(zero, reached[n] + behind[n])
                unity = max(unity, reached[n + half] + behind[n + half])
            likelihoods[start + step] = unity - zero
            one, other = first[start + step], second[start + step]
            base = behind[0] if step % _LEVEL_STEPS == 0 else np.float32(0)
            for place in range(half):
                n = np.uint64(place)
                metric = one * first_signs[n] + other * second_signs[n]
                low = behind[n] - base
                high = behind[n + half] - base
                earlier[n + n] = max(low + metric, high - metric)
                earlier[n + n + _1] = max(low - metric, high + metric)
            behind, earlier = earlier, behind
