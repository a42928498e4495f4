"""A tone brought down to zero frequency: how strong it is and where its phase stands, moment by moment."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

_OUTPUTS = 1 << 14
_OUTPUTS_PER_WIDTH = 8
_PRODUCT = 1 << 17
"""Multiplications in one product of matrices."""
_TAPS_WIDTHS = 3.3
"""A Hamming window of 3.3 rates over the transition width (common practice)."""


@dataclass(frozen=True, slots=True, eq=False)
class Baseband:
    """A tone around zero frequency.

    Attributes:
        values: complex peak amplitude, complex128, shape (outputs,); a sine of peak 1 at the centre gives 1.
        rate_hz: outputs a second.
        start_s: time of the first output on the capture.
        centre_hz: the frequency that became zero.
        noise_hz: noise of one-sided density N a Hz adds ``N * noise_hz`` to ``|values|^2 / 2``.
    """

    values: NDArray[np.complex128]
    rate_hz: float
    start_s: float
    centre_hz: float
    noise_hz: float

    @property
    def times_s(self) -> NDArray[np.float64]:
        """Time of each output on the capture."""
        return self.start_s + np.arange(self.values.size) / self.rate_hz


def settle_s(half_width_hz: float) -> float:
    """How far outside a span its baseband listens: half the length of the filter."""
    return _TAPS_WIDTHS / half_width_hz / 2


def baseband(
    row: NDArray[np.float32], sample_rate_hz: int, centre_hz: float, half_width_hz: float, start: int, stop: int
) -> Baseband:
    """The tone at ``centre_hz`` between frames ``start`` and ``stop``.

    Flat within ``half_width_hz`` of the centre, 6 dB down at one and a half times and gone at twice that. Beyond the
    ends of ``row`` there is silence.

    Args:
        row: one track, shape (frames,).
        start, stop: within the row; at least one output comes of any span.
    """
    from scipy.signal import firwin

    every = max(1, math.floor(sample_rate_hz / (_OUTPUTS_PER_WIDTH * half_width_hz)))
    half = max(1, math.ceil(_TAPS_WIDTHS * sample_rate_hz / half_width_hz / 2))
    low_pass = firwin(2 * half + 1, min(1.5 * half_width_hz, 0.49 * sample_rate_hz), fs=sample_rate_hz)
    turns = centre_hz / sample_rate_hz * np.arange(-half, half + 1)
    taps = 2j * low_pass * np.exp(2j * np.pi * turns)
    count = max(1, -(-(stop - start) // every))
    values = np.empty(count, np.complex128)
    for first in range(0, count, _OUTPUTS):
        here = min(_OUTPUTS, count - first)
        values[first : first + here] = _filtered(row, taps[::-1], every, start + first * every - half, here)
    at = start + every * np.arange(count)
    values *= np.exp(-2j * np.pi * np.mod(centre_hz / sample_rate_hz * at, 1.0))
    noise_hz = sample_rate_hz * float((low_pass**2).sum())
    return Baseband(values, sample_rate_hz / every, start / sample_rate_hz, centre_hz, noise_hz)


def _filtered(
    row: NDArray[np.float32], taps: NDArray[np.complex128], every: int, begin: int, count: int
) -> NDArray[np.complex128]:
    """Sums of ``taps`` times what stands under them, with the first tap at ``begin`` and then at each ``every`` frames.

    Row and taps are cut into blocks of ``every`` frames. Each block times each block of taps is one product of
    matrices, and the sum of an output runs down a diagonal of it. The products are small, as for large ones the matrix
    library would start threads of its own, which wait for each other.
    """
    blocks = -(-taps.size // every)
    folded = np.pad(taps, (0, blocks * every - taps.size)).reshape(blocks, every)
    columns = np.concatenate((folded.real, folded.imag)).T
    rows = max(1, _PRODUCT // columns.size)
    pieces = -(-(count - 1 + blocks) // rows)
    piece = _cut(row, begin, begin + pieces * rows * every).reshape(pieces, rows, every)
    products = (piece @ columns).reshape(pieces * rows, -1)
    sums = np.zeros(count, np.complex128)
    for block in range(blocks):
        sums.real += products[block : block + count, block]
        sums.imag += products[block : block + count, blocks + block]
    return sums


def _cut(row: NDArray[np.float32], begin: int, end: int) -> NDArray[np.float64]:
    """``row[begin:end]`` with silence beyond its ends."""
    inside = row[max(begin, 0) : max(end, 0)].astype(np.float64)
    before = max(0, min(-begin, end - begin))
    return np.pad(inside, (before, end - begin - before - inside.size))


def peak_hz(row: NDArray[np.float32], sample_rate_hz: int, low_hz: float, high_hz: float) -> float:
    """Frequency of the strongest line between two frequencies, from the power of spectra half overlapping.

    The peak of the averaged spectrum, refined by the parabola through its logarithm.
    """
    size = min(8192, row.size)
    if size < 16:
        return (low_hz + high_hz) / 2
    window = np.hanning(size)
    power = np.zeros(size // 2 + 1)
    for start in range(0, row.size - size + 1, max(size // 2, (row.size - size) // 64 + 1)):
        power += np.abs(np.fft.rfft(row[start : start + size] * window)) ** 2
    bins = np.arange(power.size) * sample_rate_hz / size
    allowed = np.flatnonzero((bins >= low_hz) & (bins <= high_hz))
    if not allowed.size:
        return (low_hz + high_hz) / 2
    top = int(np.clip(allowed[np.argmax(power[allowed])], 1, power.size - 2))
    below, here, above = np.log(power[top - 1 : top + 2] + 1e-300)
    curve = below - 2 * here + above
    shift = 0.5 * (below - above) / curve if curve < 0 else 0.0
    return float((top + np.clip(shift, -0.5, 0.5)) * sample_rate_hz / size)
