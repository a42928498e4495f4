"""Clips: one track, small, quiet, and what was there."""

import io

import numpy as np
import pytest
import soundfile
from tapewright.contracts.signal import Signal
from tapewright.files.clip import MOST_RATE_HZ, QUIETER_DB, clip


@pytest.mark.parametrize("rate_hz", [8000, 22_050, 44_100, 48_000, 96_000])
def test_a_clip_is_quiet_small_and_true(rate_hz):
    times = np.arange(rate_hz) / rate_hz
    tone = Signal(np.sin(2 * np.pi * 1000 * times), rate_hz)
    samples, heard_hz = soundfile.read(io.BytesIO(clip(tone)))
    assert samples.ndim == 1
    assert heard_hz == rate_hz // -(-rate_hz // MOST_RATE_HZ) <= MOST_RATE_HZ
    assert samples.size == pytest.approx(heard_hz, abs=2)
    middle = samples[heard_hz // 4 : heard_hz // 2]
    assert np.abs(middle).max() == pytest.approx(10 ** (QUIETER_DB / 20), rel=0.02)
    spectrum = np.abs(np.fft.rfft(middle * np.hanning(middle.size)))
    assert np.argmax(spectrum) * heard_hz / middle.size == pytest.approx(1000, abs=heard_hz / middle.size)


def test_what_is_beyond_full_scale_is_clipped_and_nothing_is_a_clip_too():
    loud, _ = soundfile.read(io.BytesIO(clip(Signal(np.full(1000, 5.0), 8000))))
    assert np.abs(loud).max() <= 10 ** (QUIETER_DB / 20) + 1e-4
    empty, _ = soundfile.read(io.BytesIO(clip(Signal(np.zeros(0), 8000))))
    assert empty.tolist() == [0.0]
