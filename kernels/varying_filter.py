"""A symmetric filter that changes slowly: what a head hears while the tape lifts off it or leans.

The filter is one row of a bank, or lies between two of them. Its place in the bank is given every few frames; between
these the output fades from the one filter to the other, so that nothing clicks. A symmetric filter delays nothing, as
spacing, gap and azimuth losses do not.
"""

from __future__ import annotations

import numpy as np
from numba import types
from numpy.typing import NDArray

from .compiled import compiled

BLOCK_FRAMES = 4096
MOST_STEP_FRAMES = 256
"""The place in the bank is given at least this often; the longer the steps, the faster."""

TAPS_AT_ONCE = 4
"""The number of taps beside the middle one is a multiple of this."""

_NOTHING = np.float32(0)

_FLOATS = types.Array(types.float32, 1, "C")
_READ = types.Array(types.float32, 1, "C", readonly=True)
_BANK = types.Array(types.float32, 2, "C", readonly=True)


@compiled(types.void(_FLOATS, types.int64, types.int64, _BANK, _READ, types.int64), fastmath=True)
def vary(
    row: NDArray[np.float32],
    first: int,
    last: int,
    bank: NDArray[np.float32],
    places: NDArray[np.float32],
    step_frames: int,
) -> None:
    """Filter the frames from ``first`` to before ``last`` of one track in place; beyond the row there is silence.

    Args:
        row: shape (frames,).
        first, last: which frames change.
        bank: each row the middle tap, then those on either side of it outwards; shape (filters, 1 + side).
        places: which filter at frames ``first``, ``first + step_frames`` ..., between whole numbers a mixture of two;
            one more than the steps that the frames need.
        step_frames: a power of two up to 256.
    """
    side = bank.shape[1] - 1
    filters = bank.shape[0]
    frames = row.size
    window = np.empty(BLOCK_FRAMES + 2 * side, np.float32)
    old = np.empty(side, np.float32)
    here = np.empty(side + 1, np.float32)
    change = np.empty(side + 1, np.float32)
    total = np.empty(MOST_STEP_FRAMES, np.float32)
    drift = np.empty(MOST_STEP_FRAMES, np.float32)
    for i in range(side):
        at = first - side + i
        old[i] = row[at] if at >= 0 else _NOTHING
    per_step = np.float32(1) / np.float32(step_frames)
    for start in range(first, last, BLOCK_FRAMES):
        known = min(BLOCK_FRAMES + side, frames - start)
        for i in range(side):
            window[i] = old[i]
        heard = row[start : start + known]
        ahead = window[side : side + known]
        for i in range(known):
            ahead[i] = heard[i]
        for i in range(side + known, window.size):
            window[i] = _NOTHING
        for i in range(side):
            old[i] = window[BLOCK_FRAMES + i]
        count = min(BLOCK_FRAMES, last - start)
        for begin in range(0, count, step_frames):
            step = (start - first + begin) // step_frames
            steady = places[step] == places[step + 1]
            lower = min(max(np.int64(places[step]), 0), filters - 2)
            part = places[step] - np.float32(lower)
            next_lower = min(max(np.int64(places[step + 1]), 0), filters - 2)
            next_part = places[step + 1] - np.float32(next_lower)
            a, b = bank[lower], bank[lower + 1]
            c, d = bank[next_lower], bank[next_lower + 1]
            for j in range(side + 1):
                here[j] = a[j] + part * (b[j] - a[j])
                change[j] = c[j] + next_part * (d[j] - c[j]) - here[j]
            middle = window[side + begin : side + begin + step_frames]
            for i in range(step_frames):
                total[i] = here[0] * middle[i]
                drift[i] = change[0] * middle[i]
            for j in range(1, side + 1, TAPS_AT_ONCE):
                at = side + begin
                before_1, after_1 = window[at - j :], window[at + j :]
                before_2, after_2 = window[at - j - 1 :], window[at + j + 1 :]
                before_3, after_3 = window[at - j - 2 :], window[at + j + 2 :]
                before_4, after_4 = window[at - j - 3 :], window[at + j + 3 :]
                h1, h2, h3, h4 = here[j], here[j + 1], here[j + 2], here[j + 3]
                if steady:
                    for i in range(step_frames):
                        total[i] += (
                            h1 * (before_1[i] + after_1[i])
                            + h2 * (before_2[i] + after_2[i])
                            + h3 * (before_3[i] + after_3[i])
                            + h4 * (before_4[i] + after_4[i])
                        )
                else:
                    c1, c2, c3, c4 = change[j], change[j + 1], change[j + 2], change[j + 3]
                    for i in range(step_frames):
                        s1 = before_1[i] + after_1[i]
                        s2 = before_2[i] + after_2[i]
                        s3 = before_3[i] + after_3[i]
                        s4 = before_4[i] + after_4[i]
                        total[i] += h1 * s1 + h2 * s2 + h3 * s3 + h4 * s4
                        drift[i] += c1 * s1 + c2 * s2 + c3 * s3 + c4 * s4
            out = row[start + begin : start + min(count, begin + step_frames)]
            if steady:
                for i in range(out.size):
                    out[i] = total[i]
            else:
                for i in range(out.size):
                    out[i] = total[i] + np.float32(i) * per_step * drift[i]
