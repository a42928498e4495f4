"""Reels: how thick the packs are where the tape is being played."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .tape_loss import TAPE_SPEED_MM_PER_S

HUB_MM = 11.0
"""Radius of an empty hub (common practice)."""

TAPE_UM = 17.0
"""Thickness of a tape for 30 minutes a side: sources have 15 to 18 um."""


def pack_radius_mm(wound_s: ArrayLike) -> NDArray[np.float64]:
    """Radius of a pack of tape that plays for ``wound_s``: sqrt(r0^2 + L t / pi).

    >>> round(float(pack_radius_mm(90_000 / TAPE_SPEED_MM_PER_S) ** 2 - 11**2))
    487
    """
    length_mm = TAPE_SPEED_MM_PER_S * np.maximum(wound_s, 0.0)
    return np.sqrt(HUB_MM**2 + length_mm * TAPE_UM / 1000 / np.pi)


def turns_per_s(wound_s: ArrayLike) -> NDArray[np.float64]:
    """How fast a reel with that much tape turns."""
    return np.asarray(TAPE_SPEED_MM_PER_S / (2 * np.pi * pack_radius_mm(wound_s)))
