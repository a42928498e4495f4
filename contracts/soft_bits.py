"""SoftBits: what a demodulator heard, before anybody decides.

``values`` is float32: the sign is the bit (positive = 1), the magnitude the log-likelihood ratio where it is known,
0 where nothing was heard. ``times_s`` is float64: where on the capture the middle of each bit lies, in seconds.
``events`` are what the demodulator noticed on the way.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .decoded import Event
from .errors import UsageError

CERTAIN = 30.0
"""Magnitude of a bit that a check vouches for; e^-30 is about 1e-13."""

LOST = 0.1
"""A magnitude of this or less says that the bit is not known (lost bytes hold such a bit)."""


def _own(values: ArrayLike) -> NDArray[np.float32]:
    if isinstance(values, np.ndarray) and values.dtype == np.float32:
        return np.array(values, ndmin=1)
    with np.errstate(over="ignore"):
        return np.array(values, dtype=np.float32, ndmin=1)


@dataclass(frozen=True, slots=True, eq=False)
class SoftBits:
    """Bits with their confidence and their place on the tape. See the module's text.

    Args:
        values: shape (bits,), finite.
        times_s: shape (bits,), finite seconds, or one number for all.
        events: what was noticed.

    Raises:
        UsageError: another shape, or a value or time that is not finite.
    """

    values: NDArray[np.float32]
    times_s: NDArray[np.float64]
    events: tuple[Event, ...] = ()

    def __init__(self, values: ArrayLike, times_s: ArrayLike = 0.0, events: tuple[Event, ...] = ()) -> None:
        try:
            soft = _own(values)
            given = np.asarray(times_s)
            if given.shape not in ((), soft.shape):
                raise ValueError
            times = np.empty(soft.shape)
            times[...] = given
        except (TypeError, ValueError):
            raise UsageError("Arguments 'values' and 'times_s' must be numbers of one shape (bits,).") from None
        if soft.ndim != 1:
            raise UsageError(f"Argument 'values' must have shape (bits,), not {soft.shape}.")
        if not (np.isfinite(soft).all() and np.isfinite(times).all()):
            raise UsageError("Arguments 'values' and 'times_s' must be finite.")
        soft.flags.writeable = False
        times.flags.writeable = False
        object.__setattr__(self, "values", soft)
        object.__setattr__(self, "times_s", times)
        object.__setattr__(self, "events", tuple(events))

    def __len__(self) -> int:
        return int(self.values.size)

    @property
    def bits(self) -> NDArray[np.uint8]:
        """Hard decisions, uint8 0/1, shape (bits,)."""
        return (self.values > 0).astype(np.uint8)

    @classmethod
    def certain(cls, bits: ArrayLike, times_s: ArrayLike = 0.0) -> SoftBits:
        """Bits (0/1) known for certain.

        >>> SoftBits.certain([1, 0]).values.tolist()
        [30.0, -30.0]
        """
        return cls(np.where(np.asarray(bits) > 0, CERTAIN, -CERTAIN), times_s)

    def __reduce__(self) -> tuple[Any, ...]:
        return SoftBits, (self.values, self.times_s, self.events)
