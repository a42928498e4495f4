"""A tone at baseband: against a plain polyphase filter, and against what it is by definition."""

import math

import numpy as np
import pytest
from scipy.signal import firwin, upfirdn
from tapewright.measurement.tone import baseband


def by_polyphase(row, rate_hz, centre_hz, width_hz, start, stop):
    """The same filter by scipy's upfirdn, over the whole row with silence about it."""
    every = max(1, math.floor(rate_hz / (8 * width_hz)))
    half = max(1, math.ceil(3.3 * rate_hz / width_hz / 2))
    low_pass = firwin(2 * half + 1, min(1.5 * width_hz, 0.49 * rate_hz), fs=rate_hz)
    taps = 2j * low_pass * np.exp(2j * np.pi * centre_hz / rate_hz * np.arange(-half, half + 1))
    count = max(1, -(-(stop - start) // every))
    heard = np.pad(row.astype(float), (half, half + count * every))[start:]
    at = start + every * np.arange(count)
    values = upfirdn(taps, heard)[2 * half :: every][:count]
    return values * np.exp(-2j * np.pi * centre_hz / rate_hz * at)


@pytest.mark.parametrize("width_hz", [20.0, 300.0, 1500.0])
@pytest.mark.parametrize(("start", "stop"), [(0, 6_000), (700, 701), (5_800, 6_000)])
def test_it_is_the_plain_polyphase_filter(width_hz, start, stop):
    row = np.random.default_rng(3).standard_normal(6_000).astype(np.float32)
    ours = baseband(row, 11_025, 3150.0, width_hz, start, stop).values
    theirs = by_polyphase(row, 11_025, 3150.0, width_hz, start, stop)
    assert ours == pytest.approx(theirs, abs=1e-10)


def test_long_spans_have_no_seams():
    rate_hz, hz = 8000, 1000.0
    row = np.sin(2 * np.pi * hz / rate_hz * np.arange(60 * rate_hz)).astype(np.float32)
    tone = baseband(row, rate_hz, hz, 60.0, 1000, row.size - 1000)
    assert tone.values.size > 1 << 14  # more than is filtered at once
    assert np.abs(tone.values - 1) == pytest.approx(0, abs=1e-3)
