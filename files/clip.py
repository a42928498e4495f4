"""A clip: a few seconds of a recording, small and quiet, for a page to play."""

from __future__ import annotations

import io

from ..contracts.signal import Signal

QUIETER_DB = -12.0
"""Full scale of a clip re full scale: data tones are unpleasant, and not every browser lets a page set the volume."""

MOST_RATE_HZ = 22_050
SUBTYPE = "PCM_16"


def clip(signal: Signal) -> bytes:
    """``signal`` as a FLAC file of one track, both mixed, at half the usual rate or its own if that is lower."""
    import numpy as np
    import soundfile

    track = signal.samples.mean(axis=0, dtype=np.float64)
    rate_hz = signal.sample_rate_hz
    every = -(-rate_hz // MOST_RATE_HZ)
    if every > 1 and track.size:
        from scipy.signal import resample_poly

        track = resample_poly(track, 1, every)
        rate_hz //= every
    if not track.size:
        track = np.zeros(1)  # a FLAC file without a sample is none
    quiet = np.clip(track, -1.0, 1.0) * 10 ** (QUIETER_DB / 20)
    written = io.BytesIO()
    soundfile.write(written, quiet, rate_hz, subtype=SUBTYPE, format="FLAC")
    return written.getvalue()
