"""Circuit: the exact propagators of a front end in each of its modes, as the kernel wants them."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from .coil import Coil
from .front_end import CONTACT_FOLLOW, Armature, FrontEnd

LONGEST_PART_S = 6e-6
"""The mode of the rectifier is decided once a part of a sample interval; a shorter part costs time, not accuracy: at
this length a contact moves by at most a sample (tested)."""

NO_RESERVOIR_F = 1e-9
"""Stray capacitance that stands in for no reservoir; with 100 ohm its time constant is a tenth of a microsecond."""


def parts_a_sample(sample_rate_hz: int) -> int:
    """How many parts a sample interval is cut into.

    >>> parts_a_sample(44_100)
    4
    """
    return max(1, int(np.ceil(1.0 / (sample_rate_hz * LONGEST_PART_S))))


@lru_cache(maxsize=64)
def figures_of(front_end: FrontEnd, coil: Coil, armature: Armature, rate: int, parts: int) -> NDArray[np.float64]:
    """What the kernel needs to know of one track, not to be written to; shape (FIGURES,).

    Args:
        parts: of a sample interval.

    Kept: timing plays step after step to the same circuits.
    """
    from ...kernels import rectified_coil as kernel

    whole_s = 1.0 / rate
    part_s = whole_s / parts
    figures = np.zeros(kernel.FIGURES)
    rows = _switched_rows if front_end.driver == "transistor" else _direct_rows
    for offset, henry, length_s in (
        (kernel.AWAY_PART, coil.released_h, part_s),
        (kernel.AWAY_WHOLE, coil.released_h, whole_s),
        (kernel.IN_PART, coil.operated_h, part_s),
        (kernel.IN_WHOLE, coil.operated_h, whole_s),
    ):
        figures[offset : offset + kernel.ROWS] = rows(front_end, coil.resistance_ohm, henry, length_s)
    figures[kernel.GAIN_V] = front_end.gain_v * front_end.transformer_ratio
    figures[kernel.CLIP_V] = front_end.clip_v * front_end.transformer_ratio
    figures[kernel.DROP_V] = front_end.drop_v
    figures[kernel.HALF_WAVE] = front_end.rectifier == "half"
    figures[kernel.FLOOR_V] = -1e9 if front_end.driver == "transistor" else front_end.floor_v
    figures[kernel.SWITCHED] = front_end.driver == "transistor"
    figures[kernel.THRESHOLD_V] = front_end.threshold_v
    figures[kernel.PICK_UP_A] = coil.pick_up_a
    figures[kernel.DROP_OUT_A] = coil.drop_out_a
    figures[kernel.RISE_PER_FRAME] = 1.0 / (rate * armature.travel_in_s)
    figures[kernel.FALL_PER_FRAME] = 1.0 / (rate * armature.travel_out_s)
    figures[kernel.INDUCTANCE_RATIO] = coil.released_h / coil.operated_h
    figures[kernel.FOLLOW] = CONTACT_FOLLOW
    return figures


def _direct_rows(front_end: FrontEnd, ohm: float, henry: float, part_s: float) -> NDArray[np.float64]:
    farad = max(front_end.reservoir_f, NO_RESERVOIR_F)
    source = front_end.source_ohm
    discharge = np.array([[0.0, -1.0 / farad], [1.0 / henry, -ohm / henry]])
    charge = discharge + np.array([[-1.0 / (source * farad), 0.0], [0.0, 0.0]])
    conducting = _propagator(charge, np.array([1.0 / (source * farad), 0.0]), part_s)
    isolated = _propagator(discharge, np.zeros(2), part_s)
    kept = np.exp(-ohm / henry * part_s)
    floor = max(front_end.floor_v, -1e6)  # -1e9 stands for never; the row is then unused
    freewheel = np.array([0.0, kept, 0.0, 0.0, floor / ohm * (1.0 - kept)])
    return np.concatenate([conducting.ravel(), isolated.ravel(), freewheel])


def _switched_rows(front_end: FrontEnd, ohm: float, henry: float, part_s: float) -> NDArray[np.float64]:
    farad = max(front_end.reservoir_f, NO_RESERVOIR_F)
    source = front_end.source_ohm
    leak = 1.0 / (front_end.bleed_ohm * farad)
    # The coil's row is filled in below: the transistor, not the reservoir, drives it.
    discharge = np.array([[-leak, 0.0], [0.0, 0.0]])
    charge = discharge + np.array([[-1.0 / (source * farad), 0.0], [0.0, 0.0]])
    conducting = _propagator(charge, np.array([1.0 / (source * farad), 0.0]), part_s)
    isolated = _propagator(discharge, np.zeros(2), part_s)
    kept = np.exp(-ohm / henry * part_s)
    conducting[1] = isolated[1] = (0.0, kept, 0.0, 0.0, 0.0)
    on = front_end.supply_v / ohm * (1.0 - kept)
    off = -front_end.clamp.volts / ohm * (1.0 - kept)
    return np.concatenate([conducting.ravel(), isolated.ravel(), (on, 0.0, off, 0.0, 0.0)])


def _propagator(matrix: NDArray[np.float64], inlet: NDArray[np.float64], part_s: float) -> NDArray[np.float64]:
    """Exact step of x' = matrix x + inlet e with e straight from e0 to e1; shape (2, 5): v, i, e0, e1, constant."""
    augmented = np.zeros((4, 4))
    augmented[:2, :2] = matrix
    augmented[:2, 2] = inlet
    augmented[2, 3] = 1.0
    step = _exponential(augmented * part_s)
    by_slope = step[:2, 3] / part_s
    return np.column_stack([step[:2, :2], step[:2, 2] - by_slope, by_slope, np.zeros(2)])


def _exponential(matrix: NDArray[np.float64]) -> NDArray[np.float64]:
    """Matrix exponential by scaling and squaring, with a Taylor series that is exact to rounding below norm 1/2.

    A library's general routine takes fifty times as long for a matrix this small, and timing needs thousands.
    """
    squarings = max(0, int(np.ceil(np.log2(max(float(np.abs(matrix).sum(axis=1).max()), 1e-12)))) + 1)
    scaled = matrix / 2.0**squarings
    term = result = np.eye(len(matrix))
    for order in range(1, 16):
        term = term @ scaled / order
        result = result + term
    for _ in range(squarings):
        result = result @ result
    return result
