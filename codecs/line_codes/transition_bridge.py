"""How many periods passed while nothing was heard: the speed before and after, carried through the gap.

The speed of a tape wanders slowly: a steady part and movements of 1 to 12 Hz, each of some tenths of a percent. The
likeliest such course through the times on both sides of a gap says how many periods lie in it.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from .transition_survey import SPEED_LIMIT

Times = NDArray[np.float64]

_SIDE_S = 0.15
_POINTS = 48
_WANDER_HZ = np.arange(1.0, 13.0)
_WANDER = 0.004
_JITTER = 0.02


def times_between(earlier: Times, later: Times, rate_hz: float) -> Times:
    """Times of the changes between the last of ``earlier`` and the first of ``later``, in seconds.

    Args:
        earlier, later: times of changes in seconds, each one period after the one before it, at least 3 of them.
        rate_hz: nominal periods a second, within ``SPEED_LIMIT``.
    """
    middle = 0.5 * (earlier[-1] + later[0])
    before, counts_before = _thinned(earlier[earlier > earlier[-1] - max(_SIDE_S, 8 / rate_hz)][::-1])
    after, counts_after = _thinned(later[later < later[0] + max(_SIDE_S, 8 / rate_hz)])
    side = np.repeat([0.0, 1.0], [before.size, after.size])
    shape = np.column_stack((side, *_movements(np.concatenate((before, after)) - middle, rate_hz)))
    prior = np.eye(shape.shape[1])[3:] * _JITTER
    seen = np.concatenate((-counts_before, counts_after, np.zeros(len(prior))))
    course = np.linalg.lstsq(np.concatenate((shape, prior)), seen, rcond=None)[0]
    gap = later[0] - earlier[-1]
    least, most = gap * rate_hz * (1 - SPEED_LIMIT), gap * rate_hz * (1 + SPEED_LIMIT)
    count = max(round(float(np.clip(-course[0], least, most))), 1)
    fine = np.linspace(earlier[-1], later[0], 4 * count + 1)
    phase = np.column_stack(tuple(_movements(fine - middle, rate_hz))) @ course[1:]
    phase = np.maximum.accumulate(phase - phase[0])
    if phase[-1] <= 0.0:
        phase = fine - fine[0]
    return np.interp(np.arange(1, count), phase * (count / phase[-1]), fine)


def _movements(times: Times, rate_hz: float) -> Iterator[Times]:
    """What the count of periods may be made of, over time: constants, a steady speed, waves at their usual size."""
    yield np.ones(times.size)
    yield rate_hz * times
    for frequency in _WANDER_HZ:
        turn = 2 * np.pi * frequency
        yield rate_hz * _WANDER / turn * np.sin(turn * times)
        yield rate_hz * _WANDER / turn * np.cos(turn * times)


def _thinned(near: Times) -> tuple[Times, Times]:
    """At most some dozen of the times, nearest to the gap first, with their distance from it in periods."""
    step = -(-near.size // _POINTS)
    return near[::step], np.arange(near.size, dtype=np.float64)[::step]
