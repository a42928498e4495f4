"""Following a clock that is written as changes of level: a change is certain at every period, others may stand between.

The waveform is read as held samples: sample n stands for the time n to n + 1, in frames. All kernels read the
samples where they lie, so that memory stays that of the recording.
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

Samples = NDArray[np.float32]
Times = NDArray[np.float64]

SEEN = 0.35
"""Least share of the usual amplitude at which a change counts as seen."""

CLEAN = 0.01
"""Variance of the mean on a change, re the amplitude squared, from which on noise narrows the loop."""

WIDEST = 0.22
"""Bandwidth of the loop at that noise, radians a period: wider, the loop follows the data's own jitter."""

DAMPING = 1.41

COLUMNS = 5
"""What ``follow`` writes for each period: time, error and lag of the second track in frames, strength, amplitude."""


@njit(fastmath=True, error_model="numpy", nogil=True, cache=True)
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


@njit(fastmath=True, error_model="numpy", nogil=True, cache=True)
def even_means(samples: Samples, start: float, step: float, means: Samples) -> None:
    """Means over even steps of ``step`` frames from ``start`` on, into ``means``."""
    for j in range(means.size):
        means[j] = mean_between(samples, start + j * step, start + (j + 1) * step)


@njit(fastmath=True, error_model="numpy", nogil=True, cache=True)
def changes(samples: Samples, times: Times, halves: Times, out: Samples) -> None:
    """Half the fall of the mean level across each time, over ``halves`` frames before it and after it."""
    for k in range(times.size):
        before = mean_between(samples, times[k] - halves[k], times[k])
        after = mean_between(samples, times[k], times[k] + halves[k])
        out[k] = 0.5 * (before - after)


@njit(fastmath=True, error_model="numpy", nogil=True, cache=True)
def means_between(samples: Samples, times: Times, out: Samples) -> None:
    """Mean from each of ``times`` to the next, into ``out``, shape (times - 1,)."""
    for k in range(out.size):
        out[k] = mean_between(samples, times[k], times[k + 1])


@njit(fastmath=True, error_model="numpy", nogil=True, cache=True)
def halves_around(samples: Samples, time: float, quarter: float) -> tuple[float, float, float]:
    """Means over the half period before ``time``, over half a period centred on it, and over the one after it."""
    outer_before = mean_between(samples, time - 2 * quarter, time - quarter)
    inner_before = mean_between(samples, time - quarter, time)
    inner_after = mean_between(samples, time, time + quarter)
    outer_after = mean_between(samples, time + quarter, time + 2 * quarter)
    return 0.5 * (outer_before + inner_before), 0.5 * (inner_before + inner_after), 0.5 * (inner_after + outer_after)


@njit(fastmath=True, error_model="numpy", nogil=True, cache=True)
def follow(
    left: Samples,
    right: Samples,
    tracks: int,
    alike: bool,
    start: float,
    period: float,
    lag: float,
    amplitudes: Times,
    limits: Times,
    bandwidth: float,
    coast_limit: int,
    log: Times,
) -> int:
    """Follow the certain changes from ``start`` by steps of ``period`` (negative: backwards) while they are seen.

    A second-order loop on one clock for both tracks. The error of a change is the mean over half a period centred on
    it, times its sign; a track counts by its amplitude squared over its noise, and by how much of its usual
    amplitude the change has, so that a dropout moves nothing.

    Args:
        left, right: the tracks; ``tracks`` 1 reads ``left`` only.
        start: time of a certain change, frames.
        lag: how much later the right track runs than the left, frames.
        amplitudes: shape (2,), usual amplitude of each track.
        limits: lowest and highest time, lowest and highest period (positive), frames.
        bandwidth: of the loop, radians a period; noise narrows it.
        coast_limit: periods without a visible change after which the clock is lost.
        log: out, shape (periods, COLUMNS).

    Returns:
        How many rows of ``log`` are to be trusted.
    """
    usual = np.array([max(amplitudes[0], 1e-30), max(amplitudes[1], 1e-30) if tracks == 2 else 0.0])
    noise = np.full(2, 0.1)
    fall = np.zeros(2)
    centre = np.zeros(2)
    error = np.zeros(2)
    strength = np.zeros(2)
    weight = np.zeros(2)
    offset = np.zeros(2)
    presence = np.ones(2)
    between = np.zeros(2)
    far = np.zeros(2)
    time = start
    off_centre = 0.3
    on_centre = 1.0
    recent_off = 0.3
    recent_on = 1.0
    relation = 0.0
    excess = 0.0
    coasted = 0
    trusted = 0
    for k in range(log.shape[0]):
        length = abs(period)
        if time < limits[0] or time > limits[1] or length < limits[2] or length > limits[3]:
            break
        quarter = 0.25 * length
        away = 0.0
        change = 0.0
        other = 0.0
        total = 0.0
        pull = 0.0
        seen = 0.0
        for i in range(tracks):
            track = left if i == 0 else right
            at = time + (0.5 if i == 1 else -0.5) * lag if tracks == 2 else time
            before, inner, after = halves_around(track, at, quarter)
            whole = 0.5 * (before + after)
            offset[i] += (whole - offset[i]) * (1.0 if k == 0 else 0.125)
            fall[i] = 0.5 * (before - after) / usual[i]
            centre[i] = (inner - offset[i]) / usual[i]
            near, beyond = (before, after) if period > 0 else (after, before)
            between[i] = 0.5 * (near - far[i]) / usual[i] if k > 0 else 0.0
            far[i] = beyond
            weight[i] = (presence[i] * presence[i] + 1e-6) / (noise[i] + 1e-4)
            if usual[i] < 0.02 * max(usual[0], usual[1]):
                weight[i] = 0.0
        flip = 0.0
        if alike:
            relation += (min(max(fall[0] * fall[1], -1.0), 1.0) - relation) / 64
            if abs(relation) > 0.2:
                flip = 1.0 if relation > 0 else -1.0
        joint = weight[0] * fall[0] + flip * weight[1] * fall[1]
        worth = weight[0] + weight[1] if tracks == 2 else weight[0]
        for i in range(tracks):
            sign = 1.0 if fall[i] > 0 else -1.0
            if flip != 0.0:
                sign = (1.0 if joint > 0 else -1.0) * (flip if i == 1 else 1.0)
            size = abs(fall[i])
            share = min(max(fall[i] * sign, 0.0), 1.0)
            error[i] = min(max(quarter * centre[i] * sign * share, -0.5 * quarter), 0.5 * quarter)
            strength[i] = share
            presence[i] += (share - presence[i]) / 12
            pull += weight[i] * share * error[i]
            total += weight[i] * share
            away += weight[i] * abs(centre[i])
            change += weight[i] * size
            other += weight[i] * abs(between[i])
            seen = max(seen, share)
            if share > SEEN:
                noise[i] += (min(centre[i] * centre[i], 4.0) - noise[i]) / 64
            usual[i] *= 1 + (min(size, 8.0) - 1) / (24.0 if size > 1 else (48.0 if share > SEEN else 256.0))
            usual[i] = max(usual[i], 1e-30)
        if flip != 0.0:
            away = abs(weight[0] * centre[0] + flip * weight[1] * centre[1])
            change = abs(joint)
            other = abs(weight[0] * between[0] + flip * weight[1] * between[1])
        step = pull / total if total > 0 else 0.0
        log[k, 0] = time
        log[k, 1] = step
        log[k, 2] = lag
        log[k, 3] = seen
        log[k, 4] = max(usual[0], usual[1])
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
        if tracks == 2:
            lag += 0.01 * (error[1] - error[0]) * min(strength[0], strength[1])
        uncertain = (noise[0] * noise[1]) ** 0.5 if tracks == 2 else noise[0]
        turn = min(bandwidth, WIDEST * min(CLEAN / (uncertain + 1e-9), 1.0) ** 0.25)
        period += turn * turn * step
        time += period + DAMPING * turn * step
    return trusted
