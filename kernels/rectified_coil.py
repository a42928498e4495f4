"""Rectified tone into a reservoir and a relay coil: current, armature and contacts of one track, sample by sample.

Between the moments when the rectifier starts or stops conducting the circuit is linear, and an input that is straight
between samples has an exact propagator in each mode. A sample interval that stays in one mode is taken in one step;
one in which the mode may change, or which the clipping bends, is cut into parts, and the mode is decided for each.
``circuit`` (float64) holds, in the order of the index names below, the propagators and the figures of the relay.

The armature moves from 0 (away) to 1 (in) at the pace of its travel time while the current is above what its position
needs, which falls from pick-up (away) to drop-out (in), and back at the pace of its release travel otherwise: the snap
and the hysteresis of a relay, and chatter where the current only grazes pick-up. The flux is continuous where the
inductance changes.
"""

from __future__ import annotations

import numpy as np
from numba import types
from numpy.typing import NDArray

from .compiled import compiled

# One propagator row of five: x1 = c0 v + c1 i + c2 e0 + c3 e1, and c4, a constant that only freewheeling has.
CONDUCTING_V, CONDUCTING_I, ISOLATED_V, ISOLATED_I, FREEWHEEL_I = 0, 5, 10, 15, 20
ROWS = 25
# Of the freewheel row only c1 and c4 mean anything; a coil that a transistor switches never freewheels through the
# rectifier, and keeps its two constants, transistor on and off, beside them.
COIL_ON, COIL_OFF = FREEWHEEL_I, FREEWHEEL_I + 2
# Four sets of rows: armature away and in, for a part and for a whole sample interval.
AWAY_PART, AWAY_WHOLE, IN_PART, IN_WHOLE = 0, 25, 50, 75
GAIN_V, CLIP_V, DROP_V, HALF_WAVE, FLOOR_V = 100, 101, 102, 103, 104
SWITCHED, THRESHOLD_V = 105, 106
PICK_UP_A, DROP_OUT_A, RISE_PER_FRAME, FALL_PER_FRAME, INDUCTANCE_RATIO, FOLLOW = 107, 108, 109, 110, 111, 112
FIGURES = 113

# State of one track.
STATE_V, STATE_I, STATE_INPUT, STATE_ARMATURE, STATE_IN, STATE_MAKE, STATE_BREAK = 0, 1, 2, 3, 4, 5, 6
STATES = 7

MAKE_OPENS, MAKE_CLOSES, BREAK_OPENS, BREAK_CLOSES = 0, 1, 2, 3


_DOUBLES = types.Array(types.float64, 1, "C")


@compiled(
    types.int64(
        types.Array(types.float32, 1, "C", readonly=True),
        types.Array(types.float64, 1, "C", readonly=True),
        _DOUBLES,
        types.int64,
        types.Array(types.int64, 1, "C"),
        types.Array(types.int8, 1, "C"),
        _DOUBLES,
        types.Array(types.float64, 2, "C"),
    ),
    fastmath=True,
)
def follow_coil(
    samples: NDArray[np.float32],
    circuit: NDArray[np.float64],
    state: NDArray[np.float64],
    parts: int,
    frames: NDArray[np.int64],
    kinds: NDArray[np.int8],
    currents: NDArray[np.float64],
    trace: NDArray[np.float64],
) -> int:
    """Run one track and return how many contact events were written.

    Args:
        samples: float32, shape (n,).
        circuit: float64, shape (FIGURES,).
        state: float64, shape (STATES,); carried on to the next block.
        parts: how many parts a sample interval is cut into.
        frames, kinds, currents: receive the frame, the kind and the coil current of each event; when they are
            full, further events are dropped.
        trace: float64, shape (n, 3) to receive reservoir voltage, coil current and armature position, or (0, 3).
    """
    v, i, last = state[STATE_V], state[STATE_I], state[STATE_INPUT]
    armature, is_in = state[STATE_ARMATURE], state[STATE_IN] > 0.5
    make, at_break = state[STATE_MAKE] > 0.5, state[STATE_BREAK] > 0.5
    gain, clip, drop, floor = circuit[GAIN_V], circuit[CLIP_V], circuit[DROP_V], circuit[FLOOR_V]
    half_wave, switched, threshold = circuit[HALF_WAVE] > 0.5, circuit[SWITCHED] > 0.5, circuit[THRESHOLD_V]
    pick_up, drop_out = circuit[PICK_UP_A], circuit[DROP_OUT_A]
    rise, fall, ratio, follow = (
        circuit[RISE_PER_FRAME],
        circuit[FALL_PER_FRAME],
        circuit[INDUCTANCE_RATIO],
        circuit[FOLLOW],
    )
    written, room = 0, frames.size
    share = 1.0 / parts
    traced = trace.shape[0] > 0
    # Where the rows of a part and of a whole interval start; views in their place would be counted at every use.
    p = IN_PART if is_in else AWAY_PART
    w = p + ROWS
    level = min(max(gain * last, -clip), clip)
    e0 = (level if half_wave else abs(level)) - drop
    for n in range(samples.size):
        start, now = gain * last, gain * np.float64(samples[n])
        last = samples[n]
        level = min(max(now, -clip), clip)
        e2 = (level if half_wave else abs(level)) - drop
        if i == 0.0 and v == 0.0 and armature == 0.0 and e0 <= 0.0 and e2 <= 0.0:
            e0 = e2
            if traced:
                trace[n, 0] = trace[n, 1] = trace[n, 2] = 0.0
            continue
        v1 = circuit[w + 10] * v + circuit[w + 11] * i
        whole = v1 >= floor and e0 <= v1 and e2 <= v1 and e0 <= v and e2 <= v
        if whole:
            i = circuit[w + 15] * v + circuit[w + 16] * i
        elif e0 > v and (start < clip) == (now < clip) and (start > -clip) == (now > -clip) and start * now > 0.0:
            v1 = circuit[w] * v + circuit[w + 1] * i + circuit[w + 2] * e0 + circuit[w + 3] * e2
            whole = e2 > v1 and v1 > floor
            if whole:
                i = circuit[w + 5] * v + circuit[w + 6] * i + circuit[w + 7] * e0 + circuit[w + 8] * e2
        if whole:
            if switched:
                i = max(i + (circuit[w + 20] if v1 > threshold else circuit[w + 22]), 0.0)
            v = v1
            e0 = e2
        else:
            slope = (now - start) * share
            for part in range(parts):
                level = min(max(start + slope * (part + 1), -clip), clip)
                e1 = (level if half_wave else abs(level)) - drop
                charged = circuit[p] * v + circuit[p + 1] * i + circuit[p + 2] * e0 + circuit[p + 3] * e1
                alone = circuit[p + 10] * v + circuit[p + 11] * i
                conducting = e0 - v + e1 - charged > 0.0 and charged > floor
                if conducting:
                    i = circuit[p + 5] * v + circuit[p + 6] * i + circuit[p + 7] * e0 + circuit[p + 8] * e1
                elif alone >= floor:
                    i = circuit[p + 15] * v + circuit[p + 16] * i
                else:
                    i = circuit[p + 21] * i + circuit[p + 24]
                v1 = charged if conducting else max(alone, floor)
                if switched:
                    i = max(i + (circuit[p + 20] if v1 > threshold else circuit[p + 22]), 0.0)
                v = v1
                e0 = e1
        if i >= pick_up - (pick_up - drop_out) * armature:
            if armature < 1.0:
                armature += rise
                if at_break and armature > follow:
                    at_break = False
                    if written < room:
                        frames[written], kinds[written], currents[written] = n, BREAK_OPENS, i
                        written += 1
                if armature >= 1.0:
                    armature = 1.0
                    if not make:
                        make = True
                        if written < room:
                            frames[written], kinds[written], currents[written] = n, MAKE_CLOSES, i
                            written += 1
                    if not is_in:
                        is_in = True
                        i *= ratio
                        p, w = IN_PART, IN_WHOLE
        elif armature > 0.0:
            armature -= fall
            if make and armature < 1.0 - follow:
                make = False
                if written < room:
                    frames[written], kinds[written], currents[written] = n, MAKE_OPENS, i
                    written += 1
            if armature <= 0.0:
                armature = 0.0
                if not at_break:
                    at_break = True
                    if written < room:
                        frames[written], kinds[written], currents[written] = n, BREAK_CLOSES, i
                        written += 1
                if is_in:
                    is_in = False
                    i /= ratio
                    p, w = AWAY_PART, AWAY_WHOLE
        if armature == 0.0 and abs(i) < 1e-9 and abs(v) < 1e-6:
            i = v = 0.0
        if traced:
            trace[n, 0] = v
            trace[n, 1] = i
            trace[n, 2] = armature
    state[STATE_V], state[STATE_I], state[STATE_INPUT] = v, i, last
    state[STATE_ARMATURE], state[STATE_IN] = armature, 1.0 if is_in else 0.0
    state[STATE_MAKE], state[STATE_BREAK] = 1.0 if make else 0.0, 1.0 if at_break else 0.0
    return written
