"""Signal: two tracks of sound.

``samples`` is float32, shape (2, frames), C-contiguous, read-only and finite; row 0 is the left track, row 1 the
right. Full scale is +-1.0. Between channel stages a sample beyond that is legal, up to ``LOUDEST``: only the sound
input and the file writer clip.
One track in means the same samples on both rows.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .errors import UsageError, in_one_line

LOWEST_RATE_HZ = 1_000
HIGHEST_RATE_HZ = 768_000
LOUDEST = 1e6
"""No sound is a million times full scale; below it, squares and sums stay far inside float32."""


def whole_rate(sample_rate_hz: Any) -> int:
    """``sample_rate_hz`` as an int.

    Raises:
        UsageError: no whole number, or out of range.
    """
    number = isinstance(sample_rate_hz, int | float | np.integer | np.floating)
    if not number or isinstance(sample_rate_hz, bool) or sample_rate_hz % 1 != 0:
        raise UsageError(
            f"Argument 'sample_rate_hz' must be a whole number, not {in_one_line(repr(sample_rate_hz), 60)}."
        )
    if not LOWEST_RATE_HZ <= sample_rate_hz <= HIGHEST_RATE_HZ:
        raise UsageError(
            f"Argument 'sample_rate_hz' must be {LOWEST_RATE_HZ} to {HIGHEST_RATE_HZ}, not {sample_rate_hz}."
        )
    return int(sample_rate_hz)


_LOOKED_AT = 1 << 18
"""Samples at once: the second look at them finds them in the cache."""


def _bearable(samples: NDArray[np.float32]) -> bool:
    """Whether all are finite and within +-``LOUDEST``."""
    flat = samples.reshape(-1)
    for start in range(0, flat.size, _LOOKED_AT):
        piece = flat[start : start + _LOOKED_AT]
        # Two reductions cost no second array; NaN fails both comparisons.
        if not (np.minimum.reduce(piece) >= -LOUDEST and np.maximum.reduce(piece) <= LOUDEST):
            return False
    return True


@dataclass(frozen=True, slots=True, eq=False)
class Signal:
    """Two tracks of sound and their rate.

    >>> Signal(np.zeros((2, 441)), 44_100).duration_s
    0.01

    Args:
        samples: shape (2, frames), or (frames,) for one track that is laid on both rows. Copied unless it is
            already float32, C-contiguous and read-only.
        sample_rate_hz: whole number of frames a second, 1,000 to 768,000.

    Raises:
        UsageError: another shape, a sample that is not finite or beyond +-``LOUDEST``, or a rate out of range.
    """

    samples: NDArray[np.float32]
    sample_rate_hz: int

    def __init__(self, samples: ArrayLike, sample_rate_hz: int) -> None:
        array: NDArray[Any] = np.asarray(samples)
        if array.dtype.kind not in "fiu" or array.ndim not in (1, 2):
            raise UsageError(
                f"Argument 'samples' must be numbers of shape (2, frames), not {array.dtype} {array.shape}."
            )
        if array.ndim == 1:
            array = np.broadcast_to(array, (2, array.size))
        if array.shape[0] != 2:
            raise UsageError(f"Argument 'samples' must have 2 rows (left, right), not {array.shape[0]}.")
        ready = array.dtype == np.float32 and array.flags.c_contiguous and not array.flags.writeable
        if not ready:
            with np.errstate(over="ignore"):
                array = np.array(array, dtype=np.float32, order="C", copy=True)
        self._settle(array, sample_rate_hz)

    @classmethod
    def owning(cls, samples: NDArray[np.float32], sample_rate_hz: int, known_peak: float | None = None) -> Signal:
        """A signal that takes ``samples`` (float32, (2, frames), C-contiguous) as its own, without a copy.

        For the channel models, whose outputs are fresh: the array becomes read-only.

        Args:
            known_peak: what no sample exceeds, where the caller has drawn them all; None: they are looked at.
        """
        if samples.dtype != np.float32 or samples.ndim != 2 or samples.shape[0] != 2 or not samples.flags.c_contiguous:
            raise UsageError("Argument 'samples' must be a C-contiguous float32 array of shape (2, frames).")
        signal = cls.__new__(cls)
        signal._settle(samples, sample_rate_hz, known_peak)
        return signal

    def _settle(self, samples: NDArray[np.float32], sample_rate_hz: int, known_peak: float | None = None) -> None:
        rate_hz = whole_rate(sample_rate_hz)
        if not (_bearable(samples) if known_peak is None else known_peak <= LOUDEST):
            if not np.isfinite(samples).all():
                raise UsageError("Argument 'samples' must be finite: it holds NaN or infinity.")
            loudest = float(np.abs(samples).max())
            raise UsageError(f"Argument 'samples' must be within +-{LOUDEST:,.0f} (full scale is 1), not {loudest:g}.")
        samples.flags.writeable = False
        object.__setattr__(self, "samples", samples)
        object.__setattr__(self, "sample_rate_hz", rate_hz)

    @property
    def frames(self) -> int:
        """How many frames (one sample of each track) there are."""
        return int(self.samples.shape[1])

    @property
    def duration_s(self) -> float:
        """Length in seconds."""
        return self.frames / self.sample_rate_hz

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Signal):
            return NotImplemented
        return self.sample_rate_hz == other.sample_rate_hz and np.array_equal(self.samples, other.samples)

    __hash__ = None  # type: ignore[assignment]

    def __reduce__(self) -> tuple[Any, ...]:
        return Signal, (self.samples, self.sample_rate_hz)
