"""Several plays of one tape that no layer has aligned: made of one length, and summed.

Log-likelihood ratios of independent plays add. Where a play has a few bits more or less than the others, its clock
slipped once: it is laid against the others from both its ends, and cut where it agrees with them most.
"""

from __future__ import annotations

from collections import Counter

import numpy as np
from numpy.typing import NDArray

from .soft_bits import SoftBits

MOST_SLIPPED = 256
"""Bits by which a play may differ from the others in length and still be laid against them."""

_MOST_CONFIDENCE = 1e6

Values = NDArray[np.float64]


def merged(passes: tuple[SoftBits, ...]) -> SoftBits:
    """One reading of all plays; empty if there is none.

    >>> merged((SoftBits([3.0, -1.0]), SoftBits([1.0, 2.0]))).values.tolist()
    [4.0, 1.0]
    """
    if len(passes) < 2:
        return passes[0] if passes else SoftBits([])
    length = _usual_length(passes)
    alike = [heard for heard in passes if len(heard) == length]
    total = np.sum([_bounded(heard) for heard in alike], axis=0)
    for heard in passes:
        if 0 < abs(len(heard) - length) <= MOST_SLIPPED:
            laid = _laid_against(total, _bounded(heard))
            if float(np.tanh(total / 2) @ laid) > 0:  # else it is no play of this tape
                total = total + laid
    return SoftBits(total, alike[0].times_s)


def _bounded(heard: SoftBits) -> Values:
    return np.clip(heard.values.astype(np.float64), -_MOST_CONFIDENCE, _MOST_CONFIDENCE)


def _usual_length(passes: tuple[SoftBits, ...]) -> int:
    """The length that most plays have; of several, that of the play that heard most."""
    lengths = Counter(len(heard) for heard in passes)
    most = max(lengths.values())
    common = [heard for heard in passes if lengths[len(heard)] == most]
    return len(max(common, key=lambda heard: float(np.abs(_bounded(heard)).sum())))


def _laid_against(total: Values, values: Values) -> Values:
    """``values`` made as long as ``total``: bits left out, or unknown bits put in, at the place that agrees best."""
    shared = min(values.size, total.size)
    sure = np.tanh(total / 2)
    from_start = np.concatenate(([0.0], np.cumsum(sure[:shared] * values[:shared])))
    from_end = np.concatenate(([0.0], np.cumsum(sure[::-1][:shared] * values[::-1][:shared])))
    cut = int(np.argmax(from_start + from_end[::-1]))
    laid = np.zeros(total.size)
    laid[:cut] = values[:cut]
    end = shared - cut
    if end:
        laid[-end:] = values[-end:]
    return laid
