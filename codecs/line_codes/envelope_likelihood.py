"""Likelihood of a tone in noise when its phase is not known.

With ``looks`` independent envelope samples whose summed power is Y (in units of the noise power of one look) and a
tone that adds power ``gain`` in all, the density of Y is noncentral chi-square with 2 * looks degrees of freedom, and
log p(Y | tone) - log p(Y | silence) = -gain + log(Gamma(v + 1) * (2 / x)**v * I_v(x)), v = looks - 1,
x = 2 * sqrt(gain * Y) (Proakis, Digital Communications, section 2.1: noncentral chi-square; from memory).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

# Abramowitz and Stegun, Handbook of Mathematical Functions, 9.8.1 and 9.8.2: relative error below 2e-7.
_SMALL = (1.0, 3.5156229, 3.0899424, 1.2067492, 0.2659732, 0.0360768, 0.0045813)
_LARGE = (0.39894228, 0.01328592, 0.00225319, -0.00157565, 0.00916281, -0.02057706, 0.02635537, -0.01647633, 0.00392377)


def log_bessel_i0(x: ArrayLike) -> NDArray[np.float64]:
    """Natural logarithm of the modified Bessel function I_0, for x >= 0 of any size.

    >>> round(float(log_bessel_i0(2.0)), 5)
    0.82399
    """
    x = np.asarray(x, np.float64)
    small = np.polynomial.polynomial.polyval((np.minimum(x, 3.75) / 3.75) ** 2, _SMALL)
    bounded = np.maximum(x, 3.75)
    large = bounded - 0.5 * np.log(bounded) + np.log(np.polynomial.polynomial.polyval(3.75 / bounded, _LARGE))
    result: NDArray[np.float64] = np.where(x < 3.75, np.log(small), large)
    return result


def log_bessel_rise(order: int, x: ArrayLike) -> NDArray[np.float64]:
    """log(Gamma(order + 1) * (2 / x)**order * I_order(x)): 0 at x = 0.

    For order >= 1 the leading term of the uniform expansion (Abramowitz and Stegun 9.7.7): within 1 / (7 order).
    """
    if order == 0:
        return log_bessel_i0(x)
    root = np.hypot(order, np.asarray(x, np.float64))
    rise: NDArray[np.float64] = (
        root - order - order * np.log((order + root) / (2.0 * order)) - 0.5 * np.log(root / order)
    )
    return rise


def tone_against_silence(power: ArrayLike, gain: ArrayLike, looks: int) -> NDArray[np.float64]:
    """Log-likelihood ratio of tone against silence.

    Args:
        power: summed power of all looks, in units of the mean noise power of one look; >= 0.
        gain: power that the tone adds to that sum; >= 0.
        looks: independent envelope samples summed.
    """
    gain = np.asarray(gain, np.float64)
    told: NDArray[np.float64] = log_bessel_rise(looks - 1, 2.0 * np.sqrt(gain * np.asarray(power, np.float64))) - gain
    return told
