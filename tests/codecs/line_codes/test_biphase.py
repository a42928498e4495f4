"""Biphase: the recording is the published one, and comes back."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tapewright.codecs.line_codes.biphase import Biphase

VARIANTS = ({"variant": "mark"}, {"variant": "space"}, {"variant": "level"}, {"variant": "level", "first_half": "low"})


@given(
    st.sampled_from(VARIANTS),
    st.sampled_from(("same", "left", "right", "split")),
    st.sampled_from((8_000, 22_050, 44_100, 96_000)),
    st.floats(300, 2000),
    st.integers(0, 400),
    st.integers(0, 2**32 - 1),
)
def test_bits_come_back(variant, tracks, sample_rate_hz, bit_rate_hz, count, seed):
    bits = np.random.default_rng(seed).integers(0, 2, count).astype(np.uint8)
    code = Biphase(bit_rate_hz=bit_rate_hz, tracks=tracks, leader_s=0.2, **variant)
    signal = code.modulate(bits, sample_rate_hz)
    assert signal.duration_s == pytest.approx(code.duration_s(count), abs=0.51 / sample_rate_hz)
    assert code.demodulate(signal).bits[:count].tolist() == bits.tolist()
