"""From two levels to bits: the clock of the cells, their levels freed of what drifts, the trellis of the words."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from ...contracts.bits import Bits
from ...contracts.decoded import Event
from ...contracts.signal import Signal
from ...contracts.soft_bits import SoftBits
from .pulse_detection import likelihoods, running_mean, together
from .start_mark import CONTEXT, START_BITS, data_begin, earliest, from_the_marks
from .transition_clock import Clock, recover

if TYPE_CHECKING:
    from .nrzi import Nrzi

Soft = NDArray[np.float32]

_MEMORY_S = 0.25
"""How far to look for the usual amplitude: several times the dropouts that a check can mend."""

_BASE = 24
"""Cells on either side over which the base line is measured: the highest-passed 40 Hz take as long."""

_SIZE = 4
"""The same for the size of the levels: a dropout shorter than the base line is slow must not shift it."""


def demodulate(code: Nrzi, signal: Signal) -> SoftBits:
    """Soft bits of a tape in ``code``."""
    from .nrzi import FEWEST_FRAMES_A_CELL

    rate = signal.sample_rate_hz
    if rate < FEWEST_FRAMES_A_CELL * code.cell_rate_hz:
        return SoftBits([], events=(Event("too few samples a second for this bit rate"),))
    used = {"left": (0,), "right": (1,)}.get(code.tracks, (0, 1))
    clock = recover(signal, used, code.cell_rate_hz, alike=code.tracks == "same", certain=False)
    if clock.times.size < 2:
        return SoftBits([], events=(Event(f"no {code.name} signal heard"),))
    levels = _levels(signal, used, clock, max(128, round(_MEMORY_S * code.cell_rate_hz)))
    if code.tracks == "same":
        levels = [together(*levels)]
    leader: Bits = np.ones(CONTEXT, np.uint8)
    streams = [code.trellis.read(code.trust * track.astype(np.float64)) for track in levels]
    marks = [data_begin(ratios, leader) for ratios, _ in streams]
    places = streams[0][1]
    times = np.interp(places, np.arange(clock.times.size), clock.times)
    start = earliest(marks)
    lead = (code.leader_bits + START_BITS.size) * code.cell_rate_hz / code.bit_rate_hz
    first = 0 if start is None or start >= places.size else round(places[start] - lead)
    events = clock.told(rate, code.cell_rate_hz, first)
    return from_the_marks([ratios for ratios, _ in streams], marks, times / rate, events)


def _levels(signal: Signal, used: tuple[int, ...], clock: Clock, memory: int) -> list[Soft]:
    """Log-likelihood ratio of a high level in each cell, track by track."""
    from ...kernels.change_readings import means_between

    told = []
    for place, track in enumerate(used):
        side = 0.0 if len(used) == 1 else place - 0.5
        means = np.empty(clock.times.size - 1, np.float32)
        means_between(signal.samples[track], clock.times + side * clock.lags, means)
        told.append(likelihoods(_freed(means), memory))
    return told


def _freed(means: Soft) -> Soft:
    """Levels without the base line they swing about, which is what remains when what was decided is taken away."""
    freed = means - running_mean(means, 4 * _BASE)
    for _ in range(3):
        size = running_mean(np.abs(freed), _SIZE)
        freed = means - running_mean(means - size * np.sign(freed), _BASE)
    return freed
