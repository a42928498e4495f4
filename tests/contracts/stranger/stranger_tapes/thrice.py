"""A layer: every bit three times in a row, summed by confidence."""

from dataclasses import dataclass

import numpy as np
from tapewright.contracts.layer import Heard, Layer
from tapewright.contracts.soft_bits import SoftBits


@dataclass(frozen=True)
class Thrice(Layer):
    """Corrects one wrong bit of three and never says so."""

    name = "thrice"
    summary = "Every bit three times."
    exemptions = {"uncorrected_keeps_signs": "a majority of three cannot tell that it failed"}  # noqa: RUF012

    def encode(self, bits):
        return np.repeat(bits, 3)

    def coded_bits(self, data_bits):
        return 3 * data_bits

    def decode(self, passes):
        return Heard(tuple(self._summed(one) for one in passes))

    def _summed(self, heard):
        whole = len(heard) - len(heard) % 3
        values = heard.values[:whole].astype(np.float64).reshape(-1, 3).sum(axis=1)
        return SoftBits(np.clip(values, -1e30, 1e30), heard.times_s[:whole].reshape(-1, 3).mean(axis=1))
