"""Following a clock whose changes of level are certain at every period, while others may stand between.

Some periods are read at once, at the times that the speed so far foretells: what they say of phase and speed is then
taken in one after the other, for within so short a time an error is what was read less what was mended meanwhile. So
the readings need not wait for each other, and the processor takes several together.
"""

from __future__ import annotations

import numpy as np
from numba import types
from numpy.typing import NDArray

from .compiled import compiled
from .period_block import (
    AFTER,
    APART,
    AWAY,
    BEFORE,
    BEST,
    BETWEEN,
    BLOCK,
    CHANGE,
    OTHER,
    SEEN,
    SLOPE,
    STEP,
    WORK,
    joined,
    read,
)
from .waveform_integral import LAID_OUT, MARGIN, NOWHERE, laid_out

Samples = NDArray[np.float32]
Times = NDArray[np.float64]

DAMPING = 1.41

COARSE = 8.0
"""Least steps of the integral in a period: between two of them the waveform counts as held, which blurs no time that is
read off a whole half period.
"""

COLUMNS = 4
"""What ``follow`` writes for each period: error and lag of the second track in frames, strength, amplitude."""

QUIET = 0.004
"""Variance of the mean on a change, re the amplitude squared, up to which a whole block is read at once: in more noise
less is foretold. At first it is thought large, so that one is read at a time until speed and phase are known.
"""

CLEAN = 0.01
"""Variance of the mean on a change, re the amplitude squared, from which on noise narrows the loop."""

WIDEST = 0.22
"""Bandwidth of the loop at that noise, radians a period: wider, the loop follows the data's own jitter."""

_READ = types.Array(types.float32, 1, "C", readonly=True)
_FLOATS = types.Array(types.float32, 1, "C")
_DOUBLES = types.Array(types.float64, 1, "C")
_ROWS = types.Array(types.float32, 2, "C")


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
    amplitudes: Samples,
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
        count = min(max(foreseen, 1), room - done)
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
        mean_a = read(sums[0], np.float32(here - late / every), stride, size, count, work, np.int64(0))
        mean_b = read(sums[1], np.float32(here + late / every), stride, size, count, work, np.int64(OTHER))
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
        agreed, grown_a, grown_b, noisy_a, noisy_b, seen_a, seen_b = joined(
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
