"""A measured response as band and spacing: two slopes and a loss that grows with frequency."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .carrier_losses import spacing_loss_db
from .figures import Curve
from .layout import LINE_UP_HZ
from .skew import azimuth_loss_db

LOW_ORDER = 2
_ORDERS = (2, 3, 4)


@dataclass(frozen=True, slots=True)
class FittedBand:
    """What comes nearest to a response.

    Attributes:
        low_hz, high_hz: -3 dB points of Butterworth slopes.
        order: of the upper slope; the lower one has 2.
        spacing_um: loss proportional to frequency in dB, as a distance of head and tape.
        miss_db: rms distance from the response.
    """

    low_hz: float
    high_hz: float
    order: int
    spacing_um: float
    miss_db: float


def fitted_band(response: Sequence[Curve], azimuth_arcmin: float) -> FittedBand | None:
    """The band and spacing nearest to the mean of the curves, once the azimuth error's own loss is taken off.

    None where the curves have no 315 Hz or fewer than six tones.
    """
    from scipy.optimize import least_squares

    hz = np.array(response[0].places)
    reference = np.flatnonzero(hz == LINE_UP_HZ)
    if hz.size < 6 or not reference.size or any(len(curve.places) != hz.size for curve in response):
        return None
    level = np.mean([curve.values for curve in response], axis=0)
    error = np.mean([np.subtract(curve.highs, curve.lows) for curve in response], axis=0) / 4
    known = -np.array([azimuth_loss_db(azimuth_arcmin, one) for one in hz])
    scale = 1 / np.hypot(error, 0.1)
    best: FittedBand | None = None
    for order in _ORDERS:

        def miss(p: NDArray[np.float64], order: int = order) -> NDArray[np.float64]:
            shape = known + response_db(hz, math.exp(p[0]), math.exp(p[1]), order, p[2])
            return np.asarray((shape - shape[reference] - level) * scale)

        bounds = ([0.0, math.log(1500.0), 0.0], [math.log(390.0), math.log(50_000.0), 5.0])
        fit = least_squares(miss, [math.log(30.0), math.log(12_000.0), 0.2], bounds=bounds, loss="soft_l1")
        miss_db = math.sqrt(float(np.mean((miss(fit.x) / scale) ** 2)))
        if best is None or miss_db < best.miss_db:
            low_hz, high_hz = math.exp(fit.x[0]), math.exp(fit.x[1])
            best = FittedBand(low_hz, high_hz, order, float(fit.x[2]), miss_db)
    return best


def response_db(
    hz: NDArray[np.float64], low_hz: float, high_hz: float, order: int, spacing_um: float
) -> NDArray[np.float64]:
    """Butterworth slopes at both ends and a spacing loss.

    >>> round(float(response_db(np.array([8000.0]), 30.0, 8000.0, 2, 0.0)[0]), 2)
    -3.01
    """
    slopes = 10 * np.log10(1 + (low_hz / hz) ** (2 * LOW_ORDER)) + 10 * np.log10(1 + (hz / high_hz) ** (2 * order))
    return np.asarray(-slopes - spacing_loss_db(spacing_um, 1.0) * hz)
