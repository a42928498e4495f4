"""Some periods of a clock read at once: what falls around each change, and what both tracks say of it together."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from .compiled import compiled
from .waveform_integral import integral

Samples = NDArray[np.float32]

SEEN = 0.35
"""Least share of the usual amplitude at which a change counts as seen."""

BLOCK = 8
"""Periods read at once: at 10 Hz of flutter of 1 % the last is foretold 0.07 periods off at the most if there are 50 a
second, 0.013 if there are 1,200 (calculated).
"""

LARGE = np.float32(16.0)
"""More than this times the usual is as good as this."""

INNER, BEFORE, AFTER = 0, BLOCK, 2 * BLOCK + 1
"""Where the readings of the first track stand; before those after the changes stands the last one of the block before.
"""

OTHER = 3 * BLOCK + 1
"""Where those of the second track stand, after those of the first."""

STEP, SLOPE, CHANGE, AWAY, BETWEEN, APART, BEST = (2 * OTHER + BLOCK * row for row in range(7))
WORK = 2 * OTHER + 7 * BLOCK
"""What is made of them, all in one array: so the compiler sees that the rows are apart."""


@compiled(fastmath=True)
def read(
    sums: Samples,
    first: np.float32,
    period: np.float32,
    scale: np.float32,
    count: int,
    work: Samples,
    track: int | np.int64,
) -> np.float32:
    """Write what falls over half a period before each place, around it and after it, times ``scale``, into ``work``.

    Args:
        first, period: the first place and how far it is to the next, in steps of ``sums``.
        count: how many.

    Returns:
        Mean of those before and after.
    """
    quarter, total = np.float32(0.25) * abs(period), np.float32(0.0)
    half = np.float32(0.5) * period
    # One half period ends where the next begins.
    edge = integral(sums, first - half)
    sense = scale if period > 0 else -scale
    for j in range(count):
        place = first + np.float32(j) * period
        middle, next_edge = integral(sums, place), integral(sums, place + half)
        before, after = (middle - edge) * sense, (next_edge - middle) * sense
        work[BEFORE + track + j] = before
        work[INNER + track + j] = (integral(sums, place + quarter) - integral(sums, place - quarter)) * scale
        work[AFTER + track + j] = after
        total += before + after
        edge = next_edge
    return total / np.float32(2 * count)


@compiled(fastmath=True)
def _relative(reading: np.float32, scale: np.float32) -> np.float32:
    return np.float32(min(max(reading * scale, -LARGE), LARGE))


@compiled(fastmath=True)
def _growth(fall: np.float32, share: np.float32) -> np.float32:
    """By what share the usual amplitude grows with a fall of so many times itself."""
    rate = np.float32(1 / 48) if share > np.float32(SEEN) else np.float32(1 / 256)
    rate = np.float32(1 / 24) if abs(fall) > np.float32(1.0) else rate
    return np.float32((min(abs(fall), np.float32(8.0)) - np.float32(1.0)) * rate)


@compiled(fastmath=True)
def _noisiness(centre: np.float32, share: np.float32, noise: np.float32) -> np.float32:
    """How much more noise there is on a change that was seen."""
    more = min(centre * centre, np.float32(4.0)) - noise
    return more if share > np.float32(SEEN) else np.float32(0.0)


@compiled(fastmath=True)
def joined(
    work: Samples,
    scales: tuple[np.float32, np.float32],
    levels: tuple[np.float32, np.float32],
    weights: tuple[np.float32, np.float32],
    noises: tuple[np.float32, np.float32],
    turned: np.float32,
    quarter: np.float32,
    count: int,
) -> tuple[np.float32, np.float32, np.float32, np.float32, np.float32, np.float32, np.float32]:
    """What both tracks say together, into ``work``.

    Args:
        scales, levels, weights, noises: of either track: one over its usual fall, what lies halfway, what it counts,
            the variance of its noise.
        turned: the sign of the second track re the first, where both say the same; else 0.
        count: how many of the readings are to be learnt from.

    Returns:
        Sums over these: how well the tracks agree; for either by what its usual fall grows, how much more noise there
        is, how well it was seen.
    """
    one, nothing, half = np.float32(1.0), np.float32(0.0), np.float32(0.5)
    scale_a, scale_b = half * scales[0], half * scales[1]
    a, b = weights
    agreed = grown_a = grown_b = noisy_a = noisy_b = seen_a = seen_b = nothing
    for j in range(BLOCK):
        counts = one if j < count else nothing
        before_a, after_a = work[BEFORE + j], work[AFTER + j]
        before_b, after_b = work[BEFORE + OTHER + j], work[AFTER + OTHER + j]
        fall_a, fall_b = _relative(before_a - after_a, scale_a), _relative(before_b - after_b, scale_b)
        centre_a = _relative(work[INNER + j] - levels[0], scales[0])
        centre_b = _relative(work[INNER + OTHER + j] - levels[1], scales[1])
        beside_a = a * scale_a * (before_a - work[AFTER + j - 1])
        beside_b = b * scale_b * (before_b - work[AFTER + OTHER + j - 1])
        agreed += min(max(fall_a * fall_b, -one), one) * counts
        joint = a * fall_a + turned * b * fall_b
        sign_a = np.copysign(one, joint)
        sign_b = np.copysign(one, fall_b) if turned == nothing else sign_a * turned
        alone = one if turned == nothing else nothing
        work[CHANGE + j] = abs(joint) + alone * abs(b * fall_b)
        work[AWAY + j] = abs(a * centre_a + turned * b * centre_b) + alone * abs(b * centre_b)
        work[BETWEEN + j] = abs(beside_a + turned * beside_b) + alone * abs(beside_b)
        share_a = min(max(fall_a * sign_a, nothing), one)
        share_b = min(max(fall_b * sign_b, nothing), one)
        error_a = quarter * min(max(centre_a * sign_a * share_a, -half), half)
        error_b = quarter * min(max(centre_b * sign_b * share_b, -half), half)
        total = a * share_a + b * share_b + np.float32(1e-30)
        work[STEP + j] = (a * share_a * error_a + b * share_b * error_b) / total
        work[SLOPE + j] = (a * share_a * share_a + b * share_b * share_b) / total
        work[APART + j] = (error_b - error_a) * min(share_a, share_b)
        work[BEST + j] = max(share_a, share_b)
        grown_a += _growth(fall_a, share_a) * counts
        grown_b += _growth(fall_b, share_b) * counts
        noisy_a += _noisiness(centre_a, share_a, noises[0]) * counts
        noisy_b += _noisiness(centre_b, share_b, noises[1]) * counts
        seen_a += share_a * counts
        seen_b += share_b * counts
    return agreed, grown_a, grown_b, noisy_a, noisy_b, seen_a, seen_b
