"""Where bursts of tone set in on one track, and how long they last."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from .clock_flywheel import ClockBursts
from .tone_tracks import LOOK_CYCLES

if TYPE_CHECKING:
    from .clock_flywheel import Cadence

BURST_SHARE = 0.25
"""Power, as a share of the loudest around, by which a burst must stand out from the silence before it."""
NEIGHBOURS = 15
"""Bursts whose median is what a burst usually has."""

Array = NDArray[np.float64]


@dataclass(frozen=True)
class BurstLengths:
    """What the bursts are like, in hops.

    Attributes:
        burst: length of a burst.
        step: from one to the next.
        look: hops that are summed in one phase.
        two_seconds: the stretch over which the loudest is averaged.
    """

    burst: int
    step: float
    look: int
    two_seconds: int

    @classmethod
    def of(cls, code: Cadence, tone_hz: float, hop_s: float) -> BurstLengths:
        """Those of a code at one of its tones."""
        burst = max(2, round(code.burst_s / hop_s))
        step = code.step_s / hop_s
        look = max(1, min(round(LOOK_CYCLES / (tone_hz * hop_s)), burst // 3, _pause(burst, step) // 3))
        return cls(burst, step, look, max(1, round(2.0 / hop_s)))

    @property
    def pause(self) -> int:
        """The silence that a burst must stand out from."""
        return _pause(self.burst, self.step)


def _pause(burst: int, step: float) -> int:
    return max(2, min(burst, math.floor(step) - burst))


def _chi_square_limit(looks: float) -> float:
    """What a mean of ``looks`` noise powers exceeds once in a hundred (Wilson and Hilferty, 1931)."""
    share = 2.0 / (9.0 * 2.0 * looks)
    return float((1.0 - share + 2.33 * math.sqrt(share)) ** 3)


def burst_onsets(tone: NDArray[np.complex128], noise: Array, lengths: BurstLengths) -> ClockBursts:
    """Every place where silence turns into tone for a burst's length.

    Args:
        tone: a track at zero frequency, shape (hops,).
        noise: mean square of its noise, shape (hops,).
        lengths: of the bursts looked for.
    """
    from scipy.ndimage import maximum_filter1d, median_filter, uniform_filter1d

    burst, pause, look = lengths.burst, lengths.pause, lengths.look
    total = np.concatenate([[0], np.cumsum(tone)])
    summed = total[look:] - total[:-look]
    power = (summed.real**2 + summed.imag**2) / look
    if power.size < 2 * burst:
        return ClockBursts.none()
    running = np.concatenate([[0.0], np.cumsum(power)])
    last = power.size

    def mean_power(places: NDArray[np.int64], first: int, beyond: int) -> Array:
        low = np.clip(places + first, 0, last - 1)
        high = np.clip(places + beyond - look + 1, low + 1, last)
        mean: Array = (running[high] - running[low]) / (high - low)
        return mean

    everywhere = np.arange(last)
    on = mean_power(everywhere, 0, burst)
    before = mean_power(everywhere, -pause, 0)
    before[:pause] = noise[:pause]  # a tape may begin with its first burst
    contrast = on - before
    highest = maximum_filter1d(on, 2 * round(1.5 * lengths.step) + 1)
    level = uniform_filter1d(highest, lengths.two_seconds, mode="nearest")
    floor = _chi_square_limit(burst / look) * noise[: power.size]
    above = (contrast > np.maximum(BURST_SHARE * level, floor)) & (before < 0.5 * level)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], above, [False]])))
    places = np.array(
        [first + int(contrast[first:beyond].argmax()) for first, beyond in edges.reshape(-1, 2).tolist()], np.int64
    )
    # Half way between silence and a burst: what noise adds to both is left out, and to the loudest adds most.
    usual = median_filter(on[places], NEIGHBOURS, mode="nearest") if places.size else on[places]
    half = 0.5 * (usual + noise[places])

    def goes_on(bursts_later: int) -> NDArray[np.bool_]:
        first = bursts_later * burst
        longer: NDArray[np.bool_] = mean_power(places, first + pause // 8, first + pause) > half
        return longer

    mark = goes_on(1)
    end = mark & goes_on(2)
    # The line-up tone is no burst: it sounds on where even an end mark is over.
    short = ~(end & goes_on(4) & goes_on(5))
    places, mark, end = places[short], mark[short], end[short]
    return ClockBursts(places.astype(np.float64), contrast[places], contrast[places] / noise[places], mark, end)
