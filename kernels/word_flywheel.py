"""Words of line bits on a two-tone track: a flywheel that carries the start of one word to the next.

The input is two numbers per hop, for the bit-long window that starts there: the logarithm of power at mark over power
at space, which tells signal from noise whatever the level, and the log-likelihood ratio of mark against space.
"""

from __future__ import annotations

import numpy as np
from numba import types
from numpy.typing import NDArray

from .compiled import compiled

POOR = 1.9
"""Mean of abs(ratio) over a word below which it is taken for noise: in noise alone the ratio is logistic, its mean
absolute value 2 ln 2 = 1.39 and the standard error over 11 bits 0.36."""
FIRST_QUALITY = 1.7
"""Where the running quality starts: one word of a tape that can be read lifts it above POOR, one of noise does not."""
MOST_POOR_WORDS = 40
"""A run of words ends after so many in noise."""
START_SURE = 6.0
"""Log-likelihood ratio that makes a word of what could be idling: words start at few of the hops of a leader."""
TRIAL_WORDS = 6
"""Words of tape over which the places where a word may start compete."""
IDLE_AFTER_WORD = 12.0
"""The same, the other way, where a word is expected: they mostly follow each other at once."""
IDLE_SURE = 1.6
IDLE_BITS = 10.0

_FLOATS = types.Array(types.float32, 1, "C")
_DOUBLES = types.Array(types.float64, 1, "C")
_PATTERN = types.Array(types.int8, 1, "C")


@compiled(fastmath=True)
def _at(likelihood: NDArray[np.float32], place: float) -> float:
    """``likelihood`` between hops; 0 outside."""
    below = int(np.floor(place))
    if below < 0 or below + 1 >= likelihood.size:
        return 0.0
    part = place - below
    between: float = (1.0 - part) * likelihood[below] + part * likelihood[below + 1]
    return between


@compiled(fastmath=True)
def _fit(likelihood: NDArray[np.float32], pattern: NDArray[np.int8], bit: float, start: float) -> float:
    """How well a word at ``start`` agrees with ``pattern``; bits that are free count by how sure they are."""
    total: float = 0.0
    for place in range(pattern.size):
        told = _at(likelihood, start + place * bit)
        total += abs(told) if pattern[place] == 0 else pattern[place] * told
    return total


@compiled(fastmath=True)
def _word_not_idle(
    likelihood: NDArray[np.float32], pattern: NDArray[np.int8], bit: float, start: float, horizon: float
) -> float:
    """Log-likelihood ratio of a word against a steady mark, by those of its bits that start before ``horizon``."""
    total: float = 0.0
    for place in range(pattern.size):
        if start + place * bit >= horizon:
            break
        told = _at(likelihood, start + place * bit)
        if pattern[place] < 0:
            total -= told
        elif pattern[place] == 0:
            total += np.log(0.5 + 0.5 * np.exp(-told))
    return total


@compiled(fastmath=True)
def _best_near(
    likelihood: NDArray[np.float32], pattern: NDArray[np.int8], bit: float, start: float, reach: float, words: np.int64
) -> float:
    """The start within ``reach`` that fits best, over that many words; a bare number would be compiled for itself."""
    best = start
    most = -1e30
    steps = int(np.ceil(reach / (0.125 * bit)))
    for step in range(-steps, steps + 1):
        place = start + step * 0.125 * bit
        fit = _at(likelihood, place - bit) if pattern[0] < 0 else 0.0
        for word in range(words):
            fit += _fit(likelihood, pattern, bit, place + word * pattern.size * bit)
        fit -= 1e-3 * abs(step)
        if fit > most:
            most = fit
            best = place
    return best


@compiled(fastmath=True)
def _likeliest_start(
    likelihood: NDArray[np.float32], pattern: NDArray[np.int8], bit: float, first: float, stay: float
) -> float:
    """Where from ``first`` on the next word starts, -1 if nothing there is likelier than idling.

    All ways to fill the next words of tape with words and idling are weighed (dynamic programming, backwards): a word
    that follows another at once is free, one after idling costs START_SURE, and starting elsewhere than at
    ``first`` costs ``stay``.
    """
    word = 8 * pattern.size
    count = TRIAL_WORDS * word
    step = 0.125 * bit
    horizon = first + count * step
    idle = np.empty(count + word + 1, np.float64)
    after = np.empty(count + word + 1, np.float64)
    for place in range(count, count + word + 1):
        idle[place] = after[place] = 0.0
    for place in range(count - 1, -1, -1):
        taken = _word_not_idle(likelihood, pattern, bit, first + place * step, horizon) + after[place + word]
        idle[place] = max(idle[place + 1], taken - START_SURE)
        after[place] = max(idle[place], taken)
    if _word_not_idle(likelihood, pattern, bit, first, horizon) + after[word] + stay >= idle[0]:
        return first
    for place in range(count - 1):
        if idle[place] <= 0.0:
            break
        if idle[place] > idle[place + 1]:
            # On a clean tape a stretch of places is equally likely, and this the last of them: take the middle.
            same = place
            while same > max(0, place - 8):
                before = first + (same - 1) * step
                taken = _word_not_idle(likelihood, pattern, bit, before, horizon) + after[same - 1 + word]
                if taken - START_SURE < idle[place] - 1e-3:
                    break
                same -= 1
            return _best_near(likelihood, pattern, bit, first + 0.5 * (place + same) * step, 0.5 * bit, np.int64(1))
    return -1.0


@compiled(fastmath=True)
def _next_start(
    ratio: NDArray[np.float32],
    likelihood: NDArray[np.float32],
    pattern: NDArray[np.int8],
    bit: float,
    start: float,
    idling: float,
) -> float:
    """The first word after an idling mark, or -1. ``idling`` says how sure the mark before ``start`` is."""
    leak = 1.0 / (IDLE_BITS * bit)
    back = int(np.ceil(bit))
    hop = max(int(start), back)
    while hop < ratio.size - 1:
        idling += leak * (ratio[hop - back] - idling)
        if idling > IDLE_SURE and likelihood[hop] < -1.0:
            best = _likeliest_start(likelihood, pattern, bit, hop - bit, -1e9)
            if best >= 0.0:
                return best
        hop += 1
    return -1.0


@compiled(ahead=(_FLOATS, _FLOATS, _PATTERN, types.float64, types.float64, _DOUBLES, _FLOATS), fastmath=True)
def follow_words(
    ratio: NDArray[np.float32],
    likelihood: NDArray[np.float32],
    pattern: NDArray[np.int8],
    bit: float,
    start: float,
    starts: NDArray[np.float64],
    fits: NDArray[np.float32],
) -> int:
    """Starts of the words on a track.

    Args:
        ratio: log(mark / space) of the bit-long window from each hop on.
        likelihood: log-likelihood ratio of mark against space in the same window.
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
        start = _next_start(ratio, likelihood, pattern, bit, 0.0, 0.0)
    quality = FIRST_QUALITY
    framing = 4.0
    while start >= 0.0 and count < starts.size and start < ratio.size - 0.5 * word:
        total = 0.0
        fit = 0.0
        for place in range(pattern.size):
            total += abs(_at(ratio, start + place * bit))
            fit += pattern[place] * _at(likelihood, start + place * bit)
        mean = total / pattern.size
        if framed and mean > POOR and _at(likelihood, start) > 1.0:
            later = _likeliest_start(likelihood, pattern, bit, start, IDLE_AFTER_WORD)
            if later < 0.0:
                later = _next_start(ratio, likelihood, pattern, bit, start, 2.0 * IDLE_SURE)
                if later < 0.0:
                    break
            if later > start + 0.75 * bit:
                start = later
                drift = 0.0
                continue
        if mean > POOR:
            middle = _fit(likelihood, pattern, bit, start)
            early = _fit(likelihood, pattern, bit, start - 0.25 * bit)
            late = _fit(likelihood, pattern, bit, start + 0.25 * bit)
            # The fit falls off in straight lines to both sides of its peak: curve and slope together give its height.
            height = max(0.0, 2.0 * middle - early - late) + abs(late - early)
            if height > 2.0:
                error = 0.25 * bit * (late - early) / height
                start += 0.4 * error
                drift = max(-0.03 * word, min(0.03 * word, drift + 0.04 * error))
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
            framing = 4.0
            drift = 0.0
            start = _next_start(ratio, likelihood, pattern, bit, start, 0.0)
            continue
        start += word + drift
        if framed and framing < 0.0 and quality > POOR:
            start = _best_near(likelihood, pattern, bit, start, 0.5 * word, np.int64(3))
            framing = 1.0
            drift = 0.0
    return good
