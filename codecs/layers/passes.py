"""Several plays or copies of the same bits, and what can be read from them together."""

from __future__ import annotations

import numpy as np

from ...contracts.soft_bits import SoftBits


def summed(passes: tuple[SoftBits, ...]) -> SoftBits | None:
    """The passes added up: log-likelihood ratios of independent plays add. None where lengths differ or none is given.

    The times are those of the first pass.
    """
    if not passes or len({len(heard) for heard in passes}) != 1:
        return None
    if len(passes) == 1:
        return passes[0]
    return SoftBits(np.sum([heard.values for heard in passes], axis=0, dtype=np.float64), passes[0].times_s)


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
