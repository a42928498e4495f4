"""The two weightings: of speed against frequency of the waver, and of noise against frequency.

Wow and flutter: the table of IEC 60386 / AES6-2008, as quoted by a public implementation; it is realised exactly, by
frequency, without shifting anything in time. (A recursive filter of eight poles and zeros that meets the standard's
tolerance comes no nearer than 0.2 dB to all of its entries.)

Noise: A-weighting by the formula of IEC 61672-1, annex E.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

TABLE_HZ = (0.1, 0.2, 0.315, 0.4, 0.63, 0.8, 1.0, 1.6, 2.0, 4.0, 6.3, 10.0, 20.0, 40.0, 63.0, 100.0, 200.0)
TABLE_DB = (
    *(-48.0, -30.6, -19.7, -15.0, -8.4, -6.0, -4.2, -1.8, -0.9),
    *(0.0, -0.9, -2.1, -5.9, -10.4, -14.2, -17.3, -23.0),
)
"""Weighting of wow and flutter, 4 Hz = 0 dB."""

_LOWEST_HZ, _HIGHEST_HZ = 0.03, 400.0


def flutter_weighting(frequency_hz: ArrayLike) -> NDArray[np.float64]:
    """Weighting of wow and flutter as an amplitude factor.

    The table itself, straight in dB over the logarithm of frequency between its entries; beyond its ends the slopes of
    its outermost steps go on.

    >>> round(float(flutter_weighting(4.0)), 3), round(float(flutter_weighting(20.0)), 3)
    (1.0, 0.507)
    """
    hz = np.clip(np.asarray(frequency_hz, np.float64), _LOWEST_HZ, _HIGHEST_HZ)
    x, y = np.log(TABLE_HZ), np.array(TABLE_DB)
    below = y[0] + (y[1] - y[0]) / (x[1] - x[0]) * (np.log(hz) - x[0])
    above = y[-1] + (y[-1] - y[-2]) / (x[-1] - x[-2]) * (np.log(hz) - x[-1])
    inside = np.interp(np.log(hz), x, y)
    level_db = np.where(hz < TABLE_HZ[0], below, np.where(hz > TABLE_HZ[-1], above, inside))
    return np.asarray(np.where(np.asarray(frequency_hz) < _LOWEST_HZ, 0.0, 10 ** (level_db / 20)))


def a_weighting(frequency_hz: ArrayLike) -> NDArray[np.float64]:
    """Amplitude factor of A-weighting, 1 at 1 kHz.

    >>> round(float(20 * np.log10(a_weighting(100.0))), 1)
    -19.1
    """
    return _a(np.asarray(frequency_hz, np.float64)) / _a(np.asarray(1000.0))


def _a(hz: NDArray[np.float64]) -> NDArray[np.float64]:
    square = hz * hz
    low, first, second, high = (pole * pole for pole in (20.598997, 107.65265, 737.86223, 12194.217))
    below = (square + low) * np.sqrt((square + first) * (square + second))
    return np.asarray(high * square * square / (below * (square + high)))
