"""Following a clock whose changes of level are certain at every period, while others may stand between.

Some periods are read at once, at the times that the speed so far foretells: what they say of phase and speed is then
taken in one after the other, for within so short a time an error is what was read less what was mended meanwhile. So
the readings need not wait for each other, and the processor takes several together.
"""

from __future__ import annotations

import numpy as np
from numba import types

from .compiled import compiled
from .transition_tracking import COARSE, DAMPING, SEEN, Samples, Times
from .waveform_integral import LAID_OUT, MARGIN, NOWHERE, integral, laid_out

BLOCK = 8
"""Periods read at once: at 10 Hz of flutter of 1 % and 50 periods a second they end 0.05 periods off at the most."""

SETTLING = 8
"""At first speed and phase are known roughly, and one is read at a time; one more after every so many."""

QUIET = 0.004
"""Variance of the mean on a change, re the amplitude squared, up to which a whole block is read at once: in more noise
less is foretold.
"""

CLEAN = 0.01
"""Variance of the mean on a change, re the amplitude squared, from which on noise narrows the loop."""

WIDEST = 0.22
"""Bandwidth of the loop at that noise, radians a period: wider, the loop follows the data's own jitter."""

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

_READ = types.Array(types.float32, 1, "C", readonly=True)
_FLOATS = types.Array(types.float32, 1, "C")
_DOUBLES = types.Array(types.float64, 1, "C")
_ROWS = types.Array(types.float32, 2, "C")


@compiled(fastmath=True)
def _falls(
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
def _joined(
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


@compiled(
    ahead=(
        *(_READ, _READ, types.boolean, types.float64, types.float64, types.float64, _FLOATS, _DOUBLES),
        *(types.float64, types.int64, _DOUBLES, _ROWS, types.int64),
    ),
    fastmath=True,
)
def follow(
    left: Samples,
    right: Samples,
    alike: bool,
    start: float,
    period: float,
    lag: float,
    amplitudes: Times,
    limits: Times,
    bandwidth: float,
    coast_limit: int,
    times: Times,
    log: Samples,
    first: int,
) -> int:
    """Follow the certain changes from ``start`` by steps of ``period`` (negative: backwards) while they are seen.

    A second-order loop on one clock for both tracks. The error of a change is the mean over half a period centred on
    it, times its sign; a track counts by its amplitude squared over its noise, and by how much of its usual
    amplitude the change has, so that a dropout moves nothing.

    Args:
        left, right: the tracks; the same twice where there is one.
        start: time of a certain change, frames.
        lag: how much later the right track runs than the left, frames.
        amplitudes: shape (2,), usual amplitude of each track.
        limits: lowest and highest time, lowest and highest period (positive), frames.
        bandwidth: of the loop, radians a period; noise narrows it.
        coast_limit: periods without a visible change after which the clock is lost.
        times: out, the time of each change, shape (periods,).
        log: out, shape (COLUMNS, periods).
        first: where in them to begin.

    Returns:
        How many periods are to be trusted.
    """
    usual_a, usual_b = max(amplitudes[0], 1e-30), max(amplitudes[1], 1e-30)
    noise_a = noise_b = 0.1
    presence_a = presence_b = 1.0
    level_a = level_b = 0.0
    work = np.zeros(WORK, np.float32)
    uncertain = 0.1
    onward, turn = period > 0, min(bandwidth, WIDEST * (CLEAN / 0.1) ** 0.25)
    every = 4 if limits[2] >= 4 * COARSE else 1
    sums = np.empty((2, LAID_OUT + int(((BLOCK + 3) * limits[3] + 2 * abs(lag)) / every)), np.float32)
    span, begin = (sums.shape[1] - 1) * every, NOWHERE
    off_centre = recent_off = 0.3
    on_centre = recent_on = 1.0
    relation = excess = 0.0
    coasted = trusted = done = 0
    time, room = start, times.size - first
    while done < room:
        length = abs(period)
        if time < limits[0] or time > limits[1] or length < limits[2] or length > limits[3]:
            break
        foreseen = int(BLOCK * min(QUIET / (uncertain + 1e-9), 1.0))
        count = min(max(min(foreseen, 1 + done // SETTLING), 1), room - done)
        while time + (count - 1) * period < limits[0] or time + (count - 1) * period > limits[1]:
            count -= 1
        quarter, late, end = 0.25 * length, 0.5 * lag, time + (BLOCK - 1) * period
        reach = 2 * quarter + abs(late)
        low, high = min(time, end) - reach, max(time, end) + reach
        if low < begin or high >= begin + span:
            if high - low + MARGIN > span:
                break
            begin = laid_out(left, right, low, high, onward, every, sums)
        here, stride, size = (time - begin) / every, np.float32(period / every), np.float32(0.5 / quarter)
        mean_a = _falls(sums[0], np.float32(here - late / every), stride, size, count, work, np.int64(0))
        mean_b = _falls(sums[1], np.float32(here + late / every), stride, size, count, work, OTHER)
        settled = 1.0
        if done == 0:
            work[AFTER - 1], work[OTHER + AFTER - 1] = work[BEFORE], work[OTHER + BEFORE]
        else:
            settled = count / (count + 7.0)
        level_a += float(mean_a - level_a) * settled
        level_b += float(mean_b - level_b) * settled
        largest = max(usual_a, usual_b)
        weight_a = (presence_a * presence_a + 1e-6) / (noise_a + 1e-4) if usual_a >= 0.02 * largest else 0.0
        weight_b = (presence_b * presence_b + 1e-6) / (noise_b + 1e-4) if usual_b >= 0.02 * largest else 0.0
        flip = 0.0 if abs(relation) <= 0.2 else 1.0 if relation > 0 else -1.0
        agreed, grown_a, grown_b, noisy_a, noisy_b, seen_a, seen_b = _joined(
            work,
            (np.float32(1.0 / usual_a), np.float32(1.0 / usual_b)),
            (np.float32(level_a), np.float32(level_b)),
            (np.float32(weight_a), np.float32(weight_b)),
            (np.float32(noise_a), np.float32(noise_b)),
            np.float32(flip),
            np.float32(0.25 * period),
            count,
        )
        work[AFTER - 1], work[OTHER + AFTER - 1] = work[AFTER + count - 1], work[OTHER + AFTER + count - 1]
        per_worth, shift, bend = 1.0 / (weight_a + weight_b), 0.0, 0.0
        at = first + done
        for j in range(count):
            error, seen = work[STEP + j] - work[SLOPE + j] * shift, work[BEST + j]
            # Unsigned: what might be negative would be looked at from the end.
            place = np.uint64(at + j)
            times[place] = time + j * period + shift
            log[0, place] = error
            log[1, place] = lag
            log[2, place] = seen
            log[3, place] = largest
            shift += bend + (turn * turn + DAMPING * turn) * error
            bend += turn * turn * error
            lag += 0.01 * work[APART + j]
            off, on = work[AWAY + j] * per_worth, work[CHANGE + j] * per_worth
            off_centre += (off - off_centre) / 48
            on_centre += (on - on_centre) / 48
            recent_off += (off - recent_off) / 12
            recent_on += (on - recent_on) / 12
            excess += (min(work[BETWEEN + j] * per_worth - on, 1.0) - excess) / 24
            if recent_on > 0.5 and recent_off < 0.75 * recent_on and excess < 0.15:
                trusted = done + j + 1
            coasted = 0 if seen > SEEN else coasted + 1
        done += count
        if off_centre > 0.9 * on_centre or excess > 0.35 or coasted > coast_limit or done - trusted > 256:
            break
        if alike:
            relation += float(agreed - count * relation) / 64
        usual_a = max(usual_a * float(1 + grown_a), 1e-30)
        usual_b = max(usual_b * float(1 + grown_b), 1e-30)
        noise_a += float(noisy_a) / 64
        noise_b += float(noisy_b) / 64
        presence_a += float(seen_a - count * presence_a) / 12
        presence_b += float(seen_b - count * presence_b) / 12
        time += count * period + shift
        period += bend
        uncertain = np.sqrt(noise_a * noise_b)
        turn = min(bandwidth, WIDEST * np.sqrt(np.sqrt(min(CLEAN / (uncertain + 1e-9), 1.0))))
    return trusted
