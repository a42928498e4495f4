"""Words of line bits on a two-tone track: a flywheel that carries the start of one word to the next.

The input is one number per hop and bit-long window: log(power at mark / power at space), clipped. Nothing in here
depends on amplitudes.
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

POOR = 1.9
"""Mean of abs(ratio) over a word below which it is taken for noise: in noise alone the ratio is logistic, its mean
absolute value 2 ln 2 = 1.39 and the standard error over 11 bits 0.36."""
FIRST_QUALITY = 1.7
"""Where the running quality starts: one word of a tape that can be read lifts it above POOR, one of noise does not."""
MOST_POOR_WORDS = 40
"""A run of words ends after so many in noise."""
IDLE_SURE = 1.6
IDLE_BITS = 10.0


@njit(fastmath=True, error_model="numpy", nogil=True, cache=True)
def _at(ratio: NDArray[np.float32], place: float) -> float:
    """``ratio`` between hops; 0 outside."""
    below = int(np.floor(place))
    if below < 0 or below + 1 >= ratio.size:
        return 0.0
    part = place - below
    between: float = (1.0 - part) * ratio[below] + part * ratio[below + 1]
    return between


@njit(fastmath=True, error_model="numpy", nogil=True, cache=True)
def _fit(ratio: NDArray[np.float32], pattern: NDArray[np.int8], bit: float, start: float) -> float:
    """How well a word at ``start`` agrees with ``pattern``; bits that are free count by how sure they are."""
    total: float = 0.0
    for place in range(pattern.size):
        told = _at(ratio, start + place * bit)
        total += abs(told) if pattern[place] == 0 else pattern[place] * told
    return total


@njit(fastmath=True, error_model="numpy", nogil=True, cache=True)
def _word_not_idle(ratio: NDArray[np.float32], pattern: NDArray[np.int8], bit: float, start: float) -> float:
    """Log-likelihood ratio of a word against a steady mark, as far as the ratios are likelihoods."""
    total = 0.0
    for place in range(pattern.size):
        told = _at(ratio, start + place * bit)
        if pattern[place] < 0:
            total -= told
        elif pattern[place] == 0:
            total += np.log(0.5 + 0.5 * np.exp(-told))
    return total


@njit(fastmath=True, error_model="numpy", nogil=True, cache=True)
def _best_near(
    ratio: NDArray[np.float32], pattern: NDArray[np.int8], bit: float, start: float, reach: float, words: int
) -> float:
    """The start within ``reach`` that fits best, over that many words."""
    best = start
    most = -1e30
    steps = int(np.ceil(reach / (0.125 * bit)))
    for step in range(-steps, steps + 1):
        place = start + step * 0.125 * bit
        fit = _at(ratio, place - bit) if pattern[0] < 0 else 0.0
        for word in range(words):
            fit += _fit(ratio, pattern, bit, place + word * pattern.size * bit)
        fit -= 1e-3 * abs(step)
        if fit > most:
            most = fit
            best = place
    return best


@njit(fastmath=True, error_model="numpy", nogil=True, cache=True)
def _next_start(
    ratio: NDArray[np.float32], pattern: NDArray[np.int8], bit: float, start: float, idling: float
) -> float:
    """The first word after an idling mark, or -1. ``idling`` says how sure the mark before ``start`` is."""
    leak = 1.0 / (IDLE_BITS * bit)
    back = int(np.ceil(bit))
    hop = max(int(start), back)
    while hop < ratio.size - 1:
        idling += leak * (ratio[hop - back] - idling)
        if idling > IDLE_SURE and ratio[hop] < -1.0:
            place = _best_near(ratio, pattern, bit, float(hop), 0.6 * bit, 1)
            beyond = place + pattern.size * bit
            sure = _word_not_idle(ratio, pattern, bit, place)
            sure += max(0.0, _word_not_idle(ratio, pattern, bit, beyond))
            if sure > 2.0:
                return place
        hop += 1
    return -1.0


@njit(fastmath=True, error_model="numpy", nogil=True, cache=True)
def follow_words(
    ratio: NDArray[np.float32],
    pattern: NDArray[np.int8],
    bit: float,
    start: float,
    starts: NDArray[np.float64],
    fits: NDArray[np.float32],
) -> int:
    """Starts of the words on a track.

    Args:
        ratio: log(mark / space) of the bit-long window from each hop on.
        pattern: a word: -1 space, 1 mark, 0 free. If the first is -1, words may idle in mark between each other.
        bit: hops a bit.
        start: of the first word, in hops; below 0: find it after an idling mark.
        starts: filled with the start of each word, in hops.
        fits: filled with the mean agreement of the bits that are not free; 0 in noise.

    Returns:
        how many words.
    """
    count = 0
    good = 0
    framed = pattern[0] < 0
    word = pattern.size * bit
    drift = 0.0
    fixed = 0
    for place in range(pattern.size):
        fixed += abs(pattern[place])
    if start < 0.0:
        start = _next_start(ratio, pattern, bit, 0.0, 0.0)
    quality = FIRST_QUALITY
    framing = 2.0
    while start >= 0.0 and count < starts.size and start < ratio.size - 0.5 * word:
        total = 0.0
        fit = 0.0
        for place in range(pattern.size):
            told = _at(ratio, start + place * bit)
            total += abs(told)
            fit += pattern[place] * told
        mean = total / pattern.size
        if framed and mean > POOR and _word_not_idle(ratio, pattern, bit, start) < -4.0:
            start = _next_start(ratio, pattern, bit, start, 2.0 * IDLE_SURE)
            drift = 0.0
            continue
        if mean > POOR:
            middle = _fit(ratio, pattern, bit, start)
            early = _fit(ratio, pattern, bit, start - 0.25 * bit)
            late = _fit(ratio, pattern, bit, start + 0.25 * bit)
            bend = 2.0 * middle - early - late
            if bend > 1.0:
                error = max(-0.25, min(0.25, 0.125 * (late - early) / bend)) * bit
                start += 0.5 * error
                drift = max(-0.03 * word, min(0.03 * word, drift + 0.1 * error))
        starts[count] = start
        fits[count] = fit / fixed if fixed > 0 else mean
        count += 1
        quality += 0.2 * (mean - quality)
        framing += 0.3 * (fits[count - 1] - framing)
        if quality > POOR:
            good = count
        elif count - good > MOST_POOR_WORDS:
            count = good
            if not framed:
                break
            quality = FIRST_QUALITY
            framing = 2.0
            drift = 0.0
            start = _next_start(ratio, pattern, bit, start, 0.0)
            continue
        start += word + drift
        if framed and framing < 0.0 and quality > POOR:
            start = _best_near(ratio, pattern, bit, start, 0.5 * word, 3)
            framing = 1.0
            drift = 0.0
    return good
