"""Where the copies of a stream lie, also after bits were lost or gained on the way.

The copies follow each other. How long one is, is told by the distances at which the stream resembles itself: a slip
falls into one copy and changes one distance, so most of them are right. Then all copies are walked through side by
side, block by block; one that disagrees with the others where a small step would make it agree has slipped there.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Signs = NDArray[np.float32]
"""What was heard, +1 or -1, or 0 where nothing was."""

_BLOCK = 64  # bits compared at a time
_STEP = 8  # bits that may be lost or gained in one block
_FIT = 0.6  # of a block: chance reaches it once in 10^5 at each step tried (77 of 128 is 4.8 standard deviations)
_GAIN = 0.5  # of a block, by which a step must fit better than none
_SAME = 0.6  # of a block: copies that agree by less may have slipped; half of them may by 0.5
_HEAD = 256  # bits by which the start of a copy is searched
_HEADS = 4  # places of the head that are tried, in case the first is damaged
_REACH = 64  # bits by which the start of a copy may be off
_CERTAIN = 10  # by how much the first bits of a copy must fit better elsewhere: a few wrong bits alone make a gain of 6
_FOUND = 0.35  # of a head: chance reaches it once in 10^8 at each place (5.6 standard deviations of 256 signs)


def pitch(size: int) -> int:
    """Bits from the start of one copy of ``size``, a multiple of 8, to that of the next.

    Odd, so that every second copy goes to the other track.
    """
    return size + 1


def even_places(size: int, copies: int) -> NDArray[np.intp]:
    """The places of ``copies`` of ``size`` bits where none slipped, shape (copies, size)."""
    return np.arange(copies)[:, None] * pitch(size) + np.arange(size)


def copy_places(signs: Signs, copies: int) -> NDArray[np.intp]:
    """Which place of the stream holds each bit of each copy, shape (copies, bits of a copy); -1 for none.

    Copies shorter than 256 bits are not searched for: too many streams look alike.

    Args:
        signs: shape (heard,); a few at the end may be too many.
        copies: how many there are.
    """
    size = max(0, (signs.size + 1) // copies - 1) // 8 * 8
    evenly = even_places(size, copies)
    if size < _HEAD or _agree_everywhere(signs[evenly]):
        return evenly
    starts = _starts(signs, copies)
    return evenly if starts is None else _walked(signs, starts, _size(signs.size, starts))


def _agree_everywhere(rows: Signs) -> bool:
    """Whether each block of each copy, shape (copies, bits), is much like what was heard of the others."""
    blocks = np.arange(0, rows.shape[1], _BLOCK)
    pairs = np.add.reduceat(rows * (rows.sum(axis=0) - rows), blocks, axis=1)
    heard = np.abs(rows)
    possible = np.add.reduceat(heard * (heard.sum(axis=0) - heard), blocks, axis=1)
    return bool((pairs >= _SAME * possible).all())


def _starts(signs: Signs, copies: int) -> list[int] | None:
    """Where each copy starts, by the first piece of the first copy that is found in all others."""
    distance = signs.size // copies
    padded = np.pad(signs, _REACH)
    for begin in range(0, min(_HEADS * _HEAD, distance - _HEAD + 1), _HEAD):
        head = signs[begin : begin + _HEAD]
        starts, found = [0], True
        for number in range(1, copies):
            first = number * distance + begin
            fit = np.correlate(padded[first : first + 2 * _REACH + _HEAD], head, "valid")
            starts.append(number * distance - _REACH + int(np.argmax(fit)))
            found &= bool(fit.max() >= _FOUND * _HEAD)
        if found:
            return _unslipped(signs[: begin + _HEAD], signs, starts)
    return None


def _unslipped(first: Signs, signs: Signs, starts: Sequence[int]) -> list[int]:
    """The starts where each copy fits the first bits of ``first``, that of the first, as any may slip after them."""
    place = np.arange(first.size)
    corrected = []
    for start in starts:
        as_found = _at(signs, start + place)
        gains = [
            float(np.cumsum(first * (_at(signs, start + step + place) - as_found)).max())
            for step in range(-_STEP, _STEP + 1)
        ]
        best = int(np.argmax(gains))
        corrected.append(start + best - _STEP if gains[best] > _CERTAIN else start)
    return corrected


def _size(heard: int, starts: Sequence[int]) -> int:
    """Bits of a copy, as most distances between the starts have it; of several such the nearest to the mean."""
    distances = np.diff(starts)
    rest, mean = heard - starts[-1], heard / len(starts)

    def unlikely(size: int) -> tuple[int, float]:
        return -int((distances == pitch(size)).sum()) - (rest == size), abs(size - mean)

    return min(range(max(_HEAD, int(mean) - _REACH) // 8 * 8, int(mean) + _REACH, 8), key=unlikely)


def _walked(signs: Signs, starts: Sequence[int], size: int) -> NDArray[np.intp]:
    """The places from the starts on, with the steps that make each copy fit the others."""
    places = np.array(starts)[:, None] + np.arange(size)
    for begin in range(0, size, _BLOCK):
        block = slice(begin, begin + _BLOCK)
        rows = _at(signs, places[:, block])
        for number in range(len(starts)):
            others = rows.sum(axis=0) - rows[number]
            most = float(np.abs(others).sum())
            if rows[number] @ others > (1 - _GAIN) * most or most == 0:
                continue
            steps = np.arange(-_STEP, _STEP + 1)
            fit = _at(signs, places[number, block] + steps[:, None]) @ others
            best = int(np.argmax(fit))
            if fit[best] >= _FIT * most and fit[best] - fit[_STEP] >= _GAIN * most:
                places[number, _slip(signs, places, number, begin, int(steps[best])) :] += steps[best]
                rows[number] = _at(signs, places[number, block])
    return np.where((places >= 0) & (places < signs.size), places, -1)


def _slip(signs: Signs, places: NDArray[np.intp], number: int, begin: int, step: int) -> int:
    """The bit from which on the step makes that copy fit best, in the block that starts at ``begin`` or the last."""
    first = max(begin - _BLOCK, 0)
    near = places[:, first : begin + _BLOCK]
    rows = _at(signs, near)
    others = rows.sum(axis=0) - rows[number]
    gain = (_at(signs, near[number] + step) - rows[number]) * others
    return first + int(np.argmax(np.cumsum(gain[::-1])[::-1]))


def _at(signs: Signs, places: NDArray[np.intp]) -> Signs:
    """The signs there; 0 outside."""
    inside = (places >= 0) & (places < signs.size)
    return np.where(inside, signs[places.clip(0, signs.size - 1)], np.float32(0))
