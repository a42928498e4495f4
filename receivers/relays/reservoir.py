"""Reservoir: how slowly a front end's relay lets go, and the largest capacitor with which it does so in time."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ...contracts.signal import Signal
from .coil import Coil
from .front_end import Armature, FrontEnd
from .listening import listen


def release_s(front_end: FrontEnd, coil: Coil, armature: Armature, tone_hz: float, burst_s: float) -> float:
    """Time from the end of a burst to the closing of the break contact; infinite if it does not within a second.

    The burst is twice what the amplifier clips at, which fills the reservoir most. Infinite too for a relay that never
    came in: that is no release.
    """
    from ...kernels.rectified_coil import BREAK_CLOSES, MAKE_CLOSES

    rate = 44_100
    times = np.arange(int((burst_s + 1.0) * rate)) / rate
    loudest = max(1.0, 2.0 * front_end.clip_v / front_end.gain_v)
    tone = np.where(times < burst_s, loudest * np.sin(2 * np.pi * tone_hz * times), 0.0)
    events = listen(Signal(tone, rate), 0, front_end, coil, armature)
    if not (events.kinds == MAKE_CLOSES).any():
        return float("inf")
    closed = events.times_s[(events.kinds == BREAK_CLOSES) & (events.times_s >= burst_s)]
    if closed.size:
        return float(closed[0]) - burst_s
    return 0.0 if events.kinds[-1] == BREAK_CLOSES else float("inf")  # gone already, before the burst ended


def largest_reservoir_f(
    front_end: FrontEnd, coil: Coil, armature: Armature, tone_hz: float, burst_s: float, within_s: float
) -> float | None:
    """The largest reservoir whose relay still lets go ``within_s`` after a burst, to 1 %; None if none does.

    A reservoir so large that the relay does not come in during the burst is too large.
    """

    def lets_go(farad: float) -> bool:
        return release_s(replace(front_end, reservoir_f=farad), coil, armature, tone_hz, burst_s) <= within_s

    low, high = 1e-8, 1.0
    if not lets_go(low):
        return None
    if lets_go(high):
        return high
    while high / low > 1.01:
        middle = float(np.sqrt(low * high))
        if lets_go(middle):
            low = middle
        else:
            high = middle
    return low
