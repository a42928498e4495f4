"""Following a clock that is written as changes of level: a change is certain at every period, others may stand between.

The waveform is read as held samples: sample n stands for the time n to n + 1, in frames. All kernels read the
samples where they lie, so that memory stays that of the recording.
"""

from __future__ import annotations

import numpy as np
from numba import types
from numpy.typing import NDArray

from .compiled import compiled
from .waveform_integral import LAID_OUT, NOWHERE, falling, integral, integrate, laid_out

Samples = NDArray[np.float32]
Times = NDArray[np.float64]

_READ = types.Array(types.float32, 1, "C", readonly=True)
_FLOATS = types.Array(types.float32, 1, "C")
_ROWS = types.Array(types.float32, 2, "C")
_DOUBLES = types.Array(types.float64, 1, "C")

SEEN = 0.35
"""Least share of the usual amplitude at which a change counts as seen."""

CLEAN = 0.01
"""Variance of the mean on a change, re the amplitude squared, from which on noise narrows the loop."""

WIDEST = 0.22
"""Bandwidth of the loop at that noise, radians a period: wider, the loop follows the data's own jitter."""

DAMPING = 1.41

COLUMNS = 4
"""What ``follow`` writes for each period: error and lag of the second track in frames, strength, amplitude."""


@compiled(fastmath=True)
def mean_between(samples: Samples, start: float, stop: float) -> float:
    """Mean of the held samples from ``start`` to ``stop`` (frames); outside the recording there is silence."""
    low = max(start, 0.0)
    high = min(stop, float(samples.size))
    if high <= low:
        return 0.0
    first = int(low)
    last = int(high)
    if first == last:
        return float(samples[first]) * (high - low) / (stop - start)
    inside = np.float32(0.0)
    for n in range(first + 1, last):
        inside += samples[n]
    total = float(samples[first]) * (first + 1 - low) + float(inside)
    if last < samples.size:
        total += float(samples[last]) * (high - last)
    return total / (stop - start)


@compiled(ahead=(_READ, types.float64, types.float64, _FLOATS), fastmath=True)
def even_means(samples: Samples, start: float, step: float, means: Samples) -> None:
    """Means over even steps of ``step`` frames from ``start`` on, not before the recording, into ``means``."""
    sums = np.empty(int(means.size * step) + 4, np.float32)
    begin = int(start)
    integrate(samples, begin, sums)
    before = integral(sums, np.float32(start - begin))
    for j in range(means.size):
        after = integral(sums, np.float32(start - begin + (j + 1) * step))
        means[j] = (after - before) / step
        before = after


@compiled(ahead=(_READ, _DOUBLES, _DOUBLES, _FLOATS), fastmath=True)
def changes(samples: Samples, times: Times, halves: Times, out: Samples) -> None:
    """Half the fall of the mean level across each time, over ``halves`` frames before it and after it."""
    longest = 0.0
    for half in halves:
        longest = max(longest, half)
    sums = np.empty(LAID_OUT + 2 * int(longest) + 8, np.float32)
    begin = NOWHERE
    for k in range(times.size):
        time, half = times[k], halves[k]
        if time - half < begin or time + half >= begin + sums.size - 1:
            begin = int(np.floor(time - half)) - 1
            integrate(samples, begin, sums)
        at, reach = np.float32(time - begin), np.float32(half)
        around = integral(sums, at - reach) + integral(sums, at + reach)
        out[k] = (integral(sums, at) - np.float32(0.5) * around) / reach


@compiled(fastmath=True)
def means_between(samples: Samples, times: Times, out: Samples) -> None:
    """Mean from each of ``times`` to the next, into ``out``, shape (times - 1,)."""
    for k in range(out.size):
        out[k] = mean_between(samples, times[k], times[k + 1])


@compiled(fastmath=True)
def learnt(
    usual: float, noise: float, presence: float, fall: float, centre: float, share: float
) -> tuple[float, float, float]:
    """What a track's next change is judged by: its usual amplitude, its noise, how well it was seen of late."""
    size = abs(fall)
    rate = 1 / 48 if share > SEEN else 1 / 256
    if size > 1:
        rate = 1 / 24
    if share > SEEN:
        noise += (min(centre * centre, 4.0) - noise) / 64
    usual = max(usual * (1 + (min(size, 8.0) - 1) * rate), 1e-30)
    return usual, noise, presence + (share - presence) / 12


@compiled(
    ahead=(
        *(_READ, _READ, types.boolean, types.float64, types.float64, types.float64, _FLOATS, _DOUBLES, types.float64),
        *(types.int64, _DOUBLES, _ROWS, types.int64),
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
    turn = min(bandwidth, WIDEST * (CLEAN / 0.1) ** 0.25)
    presence_a = presence_b = 1.0
    offset_a = offset_b = far_a = far_b = 0.0
    sums = np.empty((2, LAID_OUT + int(4 * limits[3] + 2 * abs(lag))), np.float32)
    span = sums.shape[1] - 1
    begin = NOWHERE
    time = start
    off_centre = 0.3
    on_centre = 1.0
    recent_off = 0.3
    recent_on = 1.0
    relation = 0.0
    excess = 0.0
    coasted = 0
    trusted = 0
    for k in range(times.size - first):
        length = abs(period)
        if time < limits[0] or time > limits[1] or length < limits[2] or length > limits[3]:
            break
        quarter = 0.25 * length
        late = 0.5 * lag
        reach = 2 * quarter + abs(late)
        if time - reach < begin or time + reach >= begin + span:
            if 2 * reach + 8 > span:
                break
            begin = laid_out(left, right, time, reach, period > 0, sums)
        reading, size = np.float32(quarter), np.float32(0.5 / quarter)
        before_a, inner_a, after_a = falling(sums[0], np.float32(time - begin - late), reading, size)
        before_b, inner_b, after_b = falling(sums[1], np.float32(time - begin + late), reading, size)
        settling = 1.0 if k == 0 else 0.125
        largest = max(usual_a, usual_b)
        offset_a += (0.5 * (before_a + after_a) - offset_a) * settling
        fall_a = 0.5 * (before_a - after_a) / usual_a
        centre_a = (inner_a - offset_a) / usual_a
        between_a = 0.5 * ((before_a if period > 0 else after_a) - far_a) / usual_a if k > 0 else 0.0
        far_a = after_a if period > 0 else before_a
        weight_a = (presence_a * presence_a + 1e-6) / (noise_a + 1e-4) if usual_a >= 0.02 * largest else 0.0
        offset_b += (0.5 * (before_b + after_b) - offset_b) * settling
        fall_b = 0.5 * (before_b - after_b) / usual_b
        centre_b = (inner_b - offset_b) / usual_b
        between_b = 0.5 * ((before_b if period > 0 else after_b) - far_b) / usual_b if k > 0 else 0.0
        far_b = after_b if period > 0 else before_b
        weight_b = (presence_b * presence_b + 1e-6) / (noise_b + 1e-4) if usual_b >= 0.02 * largest else 0.0
        flip = 0.0
        if alike:
            relation += (min(max(fall_a * fall_b, -1.0), 1.0) - relation) / 64
            if abs(relation) > 0.2:
                flip = 1.0 if relation > 0 else -1.0
        joint = weight_a * fall_a + flip * weight_b * fall_b
        sign_a = 1.0 if fall_a > 0 else -1.0
        sign_b = 1.0 if fall_b > 0 else -1.0
        if flip != 0.0:
            sign_a = 1.0 if joint > 0 else -1.0
            sign_b = sign_a * flip
        share_a = min(max(fall_a * sign_a, 0.0), 1.0)
        share_b = min(max(fall_b * sign_b, 0.0), 1.0)
        if flip != 0.0:
            change = abs(joint)
            away = abs(weight_a * centre_a + flip * weight_b * centre_b)
            other = abs(weight_a * between_a + flip * weight_b * between_b)
        else:
            change = weight_a * abs(fall_a) + weight_b * abs(fall_b)
            away = weight_a * abs(centre_a) + weight_b * abs(centre_b)
            other = weight_a * abs(between_a) + weight_b * abs(between_b)
        most = 0.5 * quarter
        error_a = min(max(quarter * centre_a * sign_a * share_a, -most), most)
        error_b = min(max(quarter * centre_b * sign_b * share_b, -most), most)
        total = weight_a * share_a + weight_b * share_b
        pull = weight_a * share_a * error_a + weight_b * share_b * error_b
        step = pull / total if total > 0 else 0.0
        seen = max(share_a, share_b)
        usual_a, noise_a, presence_a = learnt(usual_a, noise_a, presence_a, fall_a, centre_a, share_a)
        usual_b, noise_b, presence_b = learnt(usual_b, noise_b, presence_b, fall_b, centre_b, share_b)
        times[first + k] = time
        log[0, first + k] = step
        log[1, first + k] = lag
        log[2, first + k] = seen
        log[3, first + k] = max(usual_a, usual_b)
        worth = weight_a + weight_b
        off_centre += (away / worth - off_centre) / 48
        on_centre += (change / worth - on_centre) / 48
        recent_off += (away / worth - recent_off) / 12
        recent_on += (change / worth - recent_on) / 12
        excess += (min((other - change) / worth, 1.0) - excess) / 24
        if recent_on > 0.5 and recent_off < 0.75 * recent_on and excess < 0.15:
            trusted = k + 1
        coasted = 0 if seen > SEEN else coasted + 1
        if off_centre > 0.9 * on_centre or excess > 0.35 or coasted > coast_limit or k - trusted > 256:
            break
        lag += 0.01 * (error_b - error_a) * min(share_a, share_b)
        time += period + (turn * turn + DAMPING * turn) * step
        period += turn * turn * step
        # For the next step, so that this one need not wait for the roots.
        uncertain = np.sqrt(noise_a * noise_b)
        turn = min(bandwidth, WIDEST * np.sqrt(np.sqrt(min(CLEAN / (uncertain + 1e-9), 1.0))))
    return trusted
