"""Following a clock that is written as changes of level at whole periods, of which any may be missing.

The sister of ``transition_following.follow``, whose changes are certain: here one that is not seen says nothing, and
that the clock is held shows in what the level does in the middle between two places for a change, which is nothing.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from .compiled import compiled
from .period_block import SEEN
from .transition_following import DAMPING
from .waveform_integral import LAID_OUT, MARGIN, NOWHERE, falling, laid_out

Samples = NDArray[np.float32]
Times = NDArray[np.float64]

WIDEST = 0.3
"""Bandwidth of the loop in little noise, radians a period."""

CLEAN = 0.01
"""Variance of the mean on a change, re the amplitude squared, from which on noise narrows the loop."""

DOUBT = 0.4
"""How much a mean off 0 speaks against a change: with more, a loop that lags lets go; with less, noise pulls at it."""

TRUST, HOLD = 0.6, 0.9
"""Most energy half-way between the places, as a share of that at them, for a clock to be trusted; to be held on to.
Noise has 1, data 0.4 at Eb/N0 = 6 dB; both are means over some dozen periods."""

ALIKE = 0.1
"""Mean product of both tracks' falls from which on they are taken for the same, or for each other's inverse."""


@compiled(fastmath=True)
def follow_sparse(
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
    """Follow the places of changes from ``start`` by steps of ``period`` (negative: backwards) while changes are seen.

    A second-order loop on one clock for both tracks. The error of a change is the mean over half a period centred on
    it, times its sign. It counts by how much of its usual amplitude the change has, and the less the further that
    mean is from 0: where there is no change it is far off. Tracks that say the same are weighed together before that.

    Arguments and result are those of ``transition_following.follow``.
    """
    usual = np.zeros(2)
    noise = np.zeros(2)
    presence = np.zeros(2)
    for i in range(2):
        usual[i] = max(amplitudes[i], 1e-30)
        noise[i] = 0.03
        presence[i] = 1.0
    weight = np.zeros(2)
    offset = np.zeros(2)
    far = np.zeros(2)
    fall = np.zeros(2)
    centre = np.zeros(2)
    spread = np.zeros(2)
    between = np.zeros(2)
    error = np.zeros(2)
    sums = np.empty((2, LAID_OUT + int(4 * limits[3] + 2 * abs(lag))), np.float32)
    span = sums.shape[1] - 1
    begin = NOWHERE
    time = start
    off_centre = 0.1
    on_centre = 1.0
    recent_off = 0.1
    recent_on = 1.0
    relation = 0.0
    coasted = 0
    trusted = 0
    for k in range(times.size - first):
        length = abs(period)
        if time < limits[0] or time > limits[1] or length < limits[2] or length > limits[3]:
            break
        quarter = 0.25 * length
        reach = 2 * quarter + 0.5 * abs(lag)
        if time - reach < begin or time + reach >= begin + span:
            if 2 * reach + MARGIN > span:
                break
            begin = laid_out(left, right, time - reach, time + reach, period > 0, np.int64(1), sums)
        for i in range(2):
            place = np.float32(time - begin + (0.5 if i == 1 else -0.5) * lag)
            before, inner, after = falling(sums[i], place, np.float32(quarter), np.float32(0.5 / quarter))
            whole = 0.5 * (before + after)
            offset[i] += (whole - offset[i]) * max(0.03, 1.0 / (k + 1))
            fall[i] = 0.5 * (before - after) / usual[i]
            centre[i] = (inner - offset[i]) / usual[i]
            spread[i] = (inner - whole) / usual[i]
            near, beyond = (before, after) if period > 0 else (after, before)
            between[i] = 0.5 * (near - far[i]) / usual[i] if k > 0 else 0.0
            far[i] = beyond
            weight[i] = (presence[i] * presence[i] + 1e-6) / (noise[i] + 1e-4)
            if usual[i] < 0.02 * max(usual[0], usual[1]):
                weight[i] = 0.0
        flip = 0.0
        if alike:
            relation += (min(max(fall[0] * fall[1], -1.0), 1.0) - relation) / 64
            if abs(relation) > ALIKE:
                flip = 1.0 if relation > 0 else -1.0
        worth = weight[0] + weight[1]
        joint = (weight[0] * fall[0] + flip * weight[1] * fall[1]) / worth
        middle = (weight[0] * centre[0] + flip * weight[1] * centre[1]) / worth
        half_way = (weight[0] * between[0] + flip * weight[1] * between[1]) / worth
        change = joint * joint
        away = half_way * half_way
        if flip == 0.0:
            change = (weight[0] * fall[0] * fall[0] + weight[1] * fall[1] * fall[1]) / worth
            away = (weight[0] * between[0] * between[0] + weight[1] * between[1] * between[1]) / worth
        pull = 0.0
        total = 0.0
        seen = 0.0
        for i in range(2):
            size = abs(fall[i])
            sign = 1.0 if fall[i] > 0 else -1.0
            share = min(size, 1.0)
            missed = abs(centre[i])
            if flip != 0.0:
                sign = (1.0 if joint > 0 else -1.0) * (flip if i == 1 else 1.0)
                share = min(abs(joint), 1.0)
                missed = abs(middle)
            sure = share * share / (share + DOUBT * missed * missed + 1e-9)
            error[i] = min(max(quarter * centre[i] * sign * sure, -0.5 * quarter), 0.5 * quarter)
            pull += weight[i] * sure * error[i]
            total += weight[i] * sure
            seen = max(seen, share)
            presence[i] += (min(size * size, 1.0) - presence[i]) / 24
            if share > SEEN:
                noise[i] += (min(2.0 * spread[i] * spread[i], 4.0) - noise[i]) / 64
            usual[i] *= 1 + (min(size, 8.0) - 1) / (24.0 if size > 1 else (48.0 if share > SEEN else 256.0))
            usual[i] = max(usual[i], 1e-30)
        step = pull / total if total > 0 else 0.0
        times[first + k] = time
        log[0, first + k] = step
        log[1, first + k] = lag
        log[2, first + k] = seen
        log[3, first + k] = max(usual[0], usual[1])
        off_centre += (min(away, 4.0) - off_centre) / 48
        on_centre += (min(change, 4.0) - on_centre) / 48
        recent_off += (min(away, 4.0) - recent_off) / 12
        recent_on += (min(change, 4.0) - recent_on) / 12
        if recent_on > 0.15 and recent_off < TRUST * recent_on:
            trusted = k + 1
        coasted = 0 if seen > SEEN else coasted + 1
        if off_centre > HOLD * on_centre or coasted > coast_limit or k - trusted > 256:
            break
        lag += 0.01 * (error[1] - error[0]) * min(abs(fall[0]), abs(fall[1]), 1.0)
        uncertain = (noise[0] * noise[1]) ** 0.5
        turn = min(bandwidth, WIDEST * min(CLEAN / (uncertain + 1e-9), 1.0) ** 0.6)
        period += turn * turn * step
        time += period + DAMPING * turn * step
    return trusted
