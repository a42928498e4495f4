"""A straightened capture as symbols: what the carriers hold in each, and where on the capture it lies."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .multicarrier_loading import Points
from .multicarrier_symbols import BODY, SYMBOL, Layout
from .time_base import Straightened

EARLY = 16
"""The window of a body starts so many places early: in the middle of what the fades leave clean."""


@dataclass(frozen=True, slots=True, eq=False)
class Tape:
    """A straightened capture whose symbols are counted from the first header.

    Attributes:
        straight: the capture on the grid.
        layout: which carriers are used.
        sample_rate_hz: of the capture.
        start: the place where the body of the first header starts.
    """

    straight: Straightened
    layout: Layout
    sample_rate_hz: int
    start: int

    @property
    def symbols(self) -> int:
        """How many symbols there are from the first header to the end of the capture."""
        return int(self.straight.samples.shape[1] - self.start) // SYMBOL

    def spectra(self, numbers: NDArray[np.intp], late: NDArray[np.float64]) -> Points:
        """What the carriers hold in these symbols, shape (symbols, 2, carriers); zeros beyond the ends.

        Args:
            late: by how many places each symbol is late: whole places move its window, and the phases undo that.
        """
        samples, whole = self.straight.samples, np.rint(late).astype(np.intp)
        cut = np.zeros((numbers.size, 2, BODY), np.float32)
        for row, begin in enumerate((self.start + numbers * SYMBOL + whole - EARLY).tolist()):
            inside = slice(max(begin, 0), max(begin + BODY, 0))
            piece = samples[:, inside]
            cut[row, :, inside.start - begin :][:, : piece.shape[1]] = piece
        spectra = np.fft.rfft(cut, axis=-1)[..., self.layout.carriers]
        return np.asarray(spectra * turned(self.layout, whole), np.complex64)

    def times_s(self, numbers: NDArray[np.intp]) -> NDArray[np.float64]:
        """Where on the capture the middles of these symbols lie."""
        places = np.clip(self.start + numbers * SYMBOL + BODY / 2, 0, self.straight.samples.shape[1])
        frames = self.straight.course.frame_at(places)
        return np.asarray(np.maximum(frames, 0) / self.sample_rate_hz)


def turned(layout: Layout, late: NDArray[np.float64] | NDArray[np.intp]) -> Points:
    """What being late by so many places does to the carriers.

    Args:
        late: shape (symbols,) or, if the tracks differ, (symbols, 2).

    Returns:
        shape (symbols, 1 or 2, carriers).
    """
    cycles = late.reshape(len(late), -1, 1) * layout.carriers / BODY
    return np.asarray(np.exp(-2j * np.pi * cycles), np.complex64)
