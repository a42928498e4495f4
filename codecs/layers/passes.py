"""Several plays or copies of the same bits, and what can be read from them together."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from ...contracts.soft_bits import SoftBits

_SUREST = np.float32(1e30)  # beyond any log-likelihood ratio; as many of them as there may be passes can be added


def summed(passes: tuple[SoftBits, ...]) -> SoftBits | None:
    """The passes added up: log-likelihood ratios of independent plays add. None where lengths differ or none is given.

    The times are those of the first pass.
    """
    if not passes or len({len(heard) for heard in passes}) != 1:
        return None
    if len(passes) == 1:
        return passes[0]
    return SoftBits(added([heard.values for heard in passes]), passes[0].times_s)


def added(values: Sequence[NDArray[np.float32]]) -> NDArray[np.float32]:
    """The sum of at least one row of soft bits, all of one length, kept finite however sure they claim to be.

    >>> added([np.array([3e38, -1], np.float32), np.array([3e38, 2], np.float32)])[1]
    np.float32(1.0)
    """
    total: NDArray[np.float32] = np.add.reduce([row.clip(-_SUREST, _SUREST) for row in values], axis=0)
    return total


def readings(passes: tuple[SoftBits, ...]) -> tuple[SoftBits, ...]:
    """What is worth trying: the sum, if there is one, then each pass alone. At most one more than there are passes."""
    together = summed(passes)
    if together is None:
        return passes
    return (together,) if len(passes) == 1 else (together, *passes)


def best_reading(passes: tuple[SoftBits, ...]) -> SoftBits:
    """The sum, else the pass that heard most; empty if there is none."""
    together = summed(passes)
    if together is not None:
        return together
    return max(passes, key=lambda heard: float(np.abs(heard.values).sum()), default=SoftBits([]))
