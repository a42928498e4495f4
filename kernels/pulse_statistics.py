"""What the neighbours of a pulse tell of it: how large it should be, and how large the noise on it is.

A pulse has one size and either sign. Its row is read some thousand pulses at a time, few enough for all sums over
neighbours to stay in the nearest cache.
"""

from __future__ import annotations

from typing import Any, TypeVar

import numpy as np
from numba import types
from numpy.typing import NDArray

from .compiled import compiled

Row = NDArray[np.float32]
Kind = TypeVar("Kind", bound=np.floating[Any])

_ROW = types.Array(types.float32, 1, "C")
_REACHES = types.Array(types.int64, 1, "C")

AT_ONCE = 1024

FAINTEST = np.float32(1e-18)
"""Level below which there is none, re the largest: its square can still be divided by."""

ROWS = 7
"""Rows of sums: three over the farthest neighbours, two over those near a fade, one each for the amplitude."""


@compiled(fastmath=True)
def _added(here: NDArray[Kind], more: NDArray[Kind], out: NDArray[Kind]) -> None:
    """Sums of two rows, as many as ``out`` takes, which is a third: else the compiler does one at a time."""
    for k in range(out.size):
        out[k] = here[k] + more[k]


@compiled(fastmath=True)
def _add(more: NDArray[Kind], out: NDArray[Kind]) -> None:
    """Add to ``out``, as many as it takes."""
    for k in range(out.size):
        out[k] += more[k]


@compiled(fastmath=True)
def window_sums(values: NDArray[Kind], width: int, spare: NDArray[Kind], out: NDArray[Kind]) -> None:
    """Sum of ``width`` of the ``values`` from each place on, into ``out``, as far as that goes.

    By doubling, which rounds no more the longer the row is, and leaves nothing of large values on small ones.

    Args:
        values: ``width - 1`` more than ``out``; lost.
        spare: as many.
    """
    count = out.size
    for k in range(count):
        out[k] = values[k]
    begin, length, doubled = 1, 1, False
    while 2 * length <= width:
        # The places are told from the slices, so that none can be counted from the end.
        here, there = (spare, values) if doubled else (values, spare)
        _added(here, here[length:], there[: count + width - 2 * length])
        doubled = not doubled
        length *= 2
        if width & length:
            _add((spare if doubled else values)[begin:], out)
            begin += length


@compiled(ahead=(_ROW, types.int64, types.int64, _ROW, _ROW, _ROW), fastmath=True, brief=True)
def levelled(falls: Row, reach: int, memory: int, values: Row, scales: Row, usual: Row) -> None:
    """Each of ``falls`` as a multiple of the mean size within ``reach`` of it.

    Args:
        falls: shape (n,), any scale.
        memory: reach of the usual size, the highest such mean.
        values: out, shape (n,): about 1 in size.
        scales: out, shape (n,): what they are multiples of, re the largest of all sizes; no less than a thousandth of
            the usual.
        usual: out, shape (n,), re the largest of all sizes.
    """
    size, width = falls.size, 2 * reach + 1
    largest = np.float32(1e-36)
    for k in range(size):
        largest = max(largest, abs(falls[k]))
    sizes, spare = np.empty(AT_ONCE + 2 * reach, np.float32), np.empty(AT_ONCE + 2 * reach, np.float32)
    for first in range(0, size, AT_ONCE):
        count = min(AT_ONCE, size - first)
        for k in range(count + 2 * reach):
            sizes[k] = 0.0
        begin, stop = max(first - reach, 0), min(first + count + reach, size)
        known, own = falls[begin:stop], sizes[begin - (first - reach) :]
        for k in range(stop - begin):
            own[k] = abs(known[k]) / largest
        level, value, fall = scales[first : first + count], values[first : first + count], falls[first : first + count]
        window_sums(sizes, width, spare, level)
        for k in range(count):
            level[k] /= np.float32(min(first + k + reach + 1, size) - max(first + k - reach, 0))
            value[k] = fall[k] / largest
    before = here = np.float32(0.0)
    for first in range(0, size + memory, memory):
        after = np.float32(0.0)
        for k in range(first, min(first + memory, size)):
            after = max(after, scales[k])
        highest = max(max(max(before, here), after), np.float32(4.0) * FAINTEST)
        for k in range(max(first - memory, 0), min(first, size)):
            usual[k] = highest
        before, here = here, after
    for k in range(size):
        scales[k] = max(scales[k], np.float32(1e-3) * usual[k] + FAINTEST)
        values[k] /= scales[k]


@compiled(fastmath=True)
def _noise(second: np.float32, fourth: np.float32) -> np.float32:
    """Variance on values of one size and either sign, from their second and fourth moments."""
    power = max(np.float32(1.5) * second * second - np.float32(0.5) * fourth, np.float32(0.0))
    return np.float32(second - np.sqrt(power))


@compiled(ahead=(_ROW, _ROW, _ROW, _REACHES, *4 * (types.float64,), _ROW), fastmath=True)
def odds(
    values: Row,
    scales: Row,
    usual: Row,
    reaches: NDArray[np.int64],
    present: float,
    audible: float,
    suspicious: float,
    freedom: float,
    out: Row,
) -> None:
    """Chance of the size with the sign that ``values`` have over that with the other, to the power ``2/(freedom + 1)``.

    Args:
        values, scales, usual: as ``levelled`` gives them, shape (n,).
        reaches: neighbours on either side: sharing an amplitude in a fade; from which a fade learns its noise; sharing
            an amplitude while it is steady; sharing a noise meanwhile, the most.
        present: share of the usual above which a place tells of the noise around it.
        audible: share of the usual below which nothing is heard.
        suspicious: a noise in its place so many times that around it is that of a fade.
        freedom: degrees of freedom of the noise.
    """
    size, near, local, steady, far = values.size, reaches[0], reaches[1], reaches[2], reaches[3]
    margin = far + near
    room = AT_ONCE + 2 * margin
    rows, sums = np.empty((4 + ROWS, room), np.float32), np.empty((ROWS, AT_ONCE), np.float32)
    pulses, sizes, around, spare, work = rows[0], rows[1], rows[2], rows[3], rows[4:]
    squares, fourths, heard, relatives, relative_squares = work[0], work[1], work[2], work[3], work[4]
    share, free = np.float32(present), np.float32(freedom)
    for first in range(0, size, AT_ONCE):
        count = min(AT_ONCE, size - first)
        begin, stop = max(first - margin, 0), min(first + count + margin, size)
        known, low = stop - begin, begin - (first - margin)
        if known < room:
            for row in rows:
                for k in range(room):
                    row[k] = 0.0
        # Slices, so that the compiler knows that no place is counted from the end.
        value, scale, common = values[begin:stop], scales[begin:stop], usual[begin:stop]
        pulse, mean = pulses[low : low + known], around[low : low + known]
        for k in range(known):
            pulse[k] = value[k] * scale[k]
            sizes[low + k] = abs(pulse[k])
        present_here = np.float32(0.0)
        for row in range(-1, ROWS):
            reach = near if row in (-1, 6) else far if row < 3 else local if row < 5 else steady
            own = sizes if row < 0 else work[row][margin - reach :]
            into = around[near : room - near] if row < 0 else sums[row][:count]
            if row == 2 and present_here == np.float32(known):
                for k in range(count):
                    into[k] = np.float32(min(first + k + far + 1, size) - max(first + k - far, 0))
                continue
            # In one place, since it is compiled as often as it is called.
            window_sums(own, 2 * reach + 1, spare, into)
            if row >= 0:
                continue
            for k in range(known):
                others = np.float32(min(begin + k + near + 1, size) - max(begin + k - near, 0))
                other = (mean[k] * np.float32(2 * near + 1) / others - abs(pulse[k])) / np.float32(2 * near)
                mean[k] = max(other, np.float32(1e-3) * common[k] + FAINTEST)
                square = pulse[k] * pulse[k]
                relative = square / (mean[k] * mean[k])
                counts = np.float32(1.0) if scale[k] > share * common[k] else np.float32(0.0)
                present_here += counts
                squares[low + k] = square * counts
                fourths[low + k] = square * square * counts
                heard[low + k] = counts
                relatives[low + k] = relative
                relative_squares[low + k] = relative * relative
                work[5, low + k] = square
                work[6, low + k] = square
        into, pulse, mean = out[first : first + count], pulses[margin:], around[margin:]
        scale, common = scales[first : first + count], usual[first : first + count]
        for k in range(count):
            at = first + k
            told = sums[2, k] + np.float32(1e-9)
            wide = _noise(sums[0, k] / told, sums[1, k] / told)
            others = np.float32(min(at + local + 1, size) - max(at - local, 0))
            fading = _noise(sums[3, k] / others, sums[4, k] / others) * mean[k] * mean[k]
            is_steady = (scale[k] > share * common[k]) & (fading < np.float32(suspicious) * wide)
            over_steady = sums[5, k] / np.float32(min(at + steady + 1, size) - max(at - steady, 0))
            over_near = sums[6, k] / np.float32(min(at + near + 1, size) - max(at - near, 0))
            power = over_steady if is_steady else over_near
            noise = max(wide if is_steady else fading, np.float32(1e-30) + np.float32(1e-4) * power)
            amplitude = np.sqrt(max(power - noise, np.float32(0.0)))
            amplitude = np.float32(0.0) if scale[k] < np.float32(audible) * common[k] else amplitude
            above, below = pulse[k] + amplitude, pulse[k] - amplitude
            into[k] = (free * noise + above * above) / (free * noise + below * below)
