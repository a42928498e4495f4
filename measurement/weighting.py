"""The two weightings: of speed against frequency of the waver, and of noise against frequency.

Wow and flutter: the table of IEC 60386 / AES6-2008 (as quoted by a public implementation) is realised by a filter of
three zeros at zero frequency, one real zero and five poles, fitted to it by least squares. It is within 0.36 dB of
every entry, within 0.05 dB at 0.63, 0.8, 4, 10 and 20 Hz. The standard's own tolerance is about +-2 dB there (from
memory).

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

_RESONANCE_HZ, _RESONANCE_Q = 0.444, 0.665
_REAL_POLES_HZ = (1.511, 9.187, 55.725)
_ZERO_HZ = 41.579
_UNITY_HZ = 4.0

LEAST_METER_RATE_HZ = 1600.0
"""Below it the bilinear transform would lose more than 0.5 dB at 200 Hz."""


def flutter_sections(rate_hz: float) -> NDArray[np.float64]:
    """The wow and flutter weighting as second-order sections for readings of speed at ``rate_hz``."""
    from scipy.signal import bilinear_zpk, sosfreqz, zpk2sos

    turn = 2 * np.pi
    damping = turn * _RESONANCE_HZ / (2 * _RESONANCE_Q)
    swing = turn * _RESONANCE_HZ * np.sqrt(1 - 1 / (4 * _RESONANCE_Q**2))
    poles = [-damping + 1j * swing, -damping - 1j * swing, *(-turn * hz for hz in _REAL_POLES_HZ)]
    sections = zpk2sos(*bilinear_zpk([0, 0, 0, -turn * _ZERO_HZ], poles, 1.0, rate_hz))
    _, gain = sosfreqz(sections, [_UNITY_HZ], fs=rate_hz)
    sections[0, :3] /= abs(gain[0])
    return np.asarray(sections)


def flutter_table(frequency_hz: ArrayLike) -> NDArray[np.float64]:
    """The table as an amplitude factor, straight in dB over the logarithm of frequency between its entries."""
    return np.asarray(10 ** (np.interp(np.log(frequency_hz), np.log(TABLE_HZ), TABLE_DB) / 20))


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
