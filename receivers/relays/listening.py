"""Listening: a signal through one front end, to what its relay's contacts do."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...contracts.signal import Signal
from .circuit import figures_of, parts_a_sample
from .coil import Coil
from .front_end import CONTACT_FOLLOW, Armature, FrontEnd


@dataclass(frozen=True, slots=True)
class ContactEvents:
    """What a relay's armature did to its contacts.

    Attributes:
        times_s: when, ascending; float64, shape (events,).
        kinds: MAKE_OPENS, MAKE_CLOSES, BREAK_OPENS, BREAK_CLOSES (0 to 3) of the kernel; int8, shape (events,).
        currents_a: coil current at that moment; float64, shape (events,).
    """

    times_s: NDArray[np.float64]
    kinds: NDArray[np.int8]
    currents_a: NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class CoilTrace:
    """Reservoir voltage, coil current and armature position at each frame; float64, shape (frames,)."""

    reservoir_v: NDArray[np.float64]
    current_a: NDArray[np.float64]
    armature: NDArray[np.float64]


def listen(signal: Signal, track: int, front_end: FrontEnd, coil: Coil, armature: Armature) -> ContactEvents:
    """What the relay on ``track`` (0 left, 1 right) does while ``signal`` plays. It starts at rest."""
    events, _ = _run(signal, track, front_end, coil, armature, traced=False)
    return events


def trace(signal: Signal, track: int, front_end: FrontEnd, coil: Coil, armature: Armature) -> CoilTrace:
    """Voltage, current and armature frame by frame, for pictures and checks; 24 bytes a frame."""
    _, rows = _run(signal, track, front_end, coil, armature, traced=True)
    return CoilTrace(*(np.ascontiguousarray(column) for column in rows.T))


def _run(
    signal: Signal, track: int, front_end: FrontEnd, coil: Coil, armature: Armature, *, traced: bool
) -> tuple[ContactEvents, NDArray[np.float64]]:
    from ...kernels import rectified_coil as kernel

    rate = signal.sample_rate_hz
    parts = parts_a_sample(rate)
    state = np.zeros(kernel.STATES)
    state[kernel.STATE_BREAK] = 1.0
    # Two opposite events of one contact are at least the follow-through apart, out or in.
    quickest = CONTACT_FOLLOW * min(armature.travel_in_s, armature.travel_out_s)
    room = 16 + 4 * int(signal.duration_s / quickest) if signal.frames else 0
    room = min(room, 4 * signal.frames)
    figures = figures_of(front_end, coil, armature, rate, parts)
    frames, kinds, currents = np.zeros(room, np.int64), np.zeros(room, np.int8), np.zeros(room)
    rows = np.zeros((signal.frames if traced else 0, 3))
    written = kernel.follow_coil(signal.samples[track], figures, state, parts, frames, kinds, currents, rows)
    return ContactEvents(frames[:written] / rate, kinds[:written], currents[:written]), rows
