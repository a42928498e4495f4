"""What people really record: a tape with something wrong or something else around it."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray
from scipy.signal import resample_poly
from tapewright.contracts.signal import Signal

Samples = NDArray[np.float64]


def voice(seconds: float, rate_hz: int, seed: int, level: float = 0.3) -> Samples:
    """Something like speech, shape (frames,): syllables with a wandering pitch and three formants, and hisses.

    Pitch 90 to 220 Hz, formants as of vowels (common practice), a syllable every 80 to 350 ms, a quarter pauses.
    """
    rng = np.random.default_rng(seed)
    said = np.zeros(int(seconds * rate_hz))
    at = 0
    while at < said.size:
        length = min(int(rng.uniform(0.08, 0.35) * rate_hz), said.size - at)
        place = np.arange(length) / rate_hz
        kind = rng.random()
        if kind < 0.5:
            pitch_hz = rng.uniform(90, 220) * (1 + 0.1 * np.sin(2 * np.pi * rng.uniform(2, 6) * place))
            turn = 2 * np.pi * np.cumsum(pitch_hz) / rate_hz
            formants_hz = rng.uniform([300, 900, 2300], [800, 2200, 3200])
            harmonics = np.arange(1, int(5000 / pitch_hz.mean()))
            heights = (1 / (1 + ((harmonics[:, None] * pitch_hz.mean() - formants_hz) / 120) ** 2)).sum(axis=1)
            syllable = heights @ np.sin(harmonics[:, None] * turn)
        elif kind < 0.75:
            syllable = np.diff(rng.standard_normal(length + 1))
        else:
            syllable = np.zeros(length)
        syllable = syllable * np.hanning(length + 2)[1:-1]
        said[at : at + length] = syllable / (np.abs(syllable).max() + 1e-9) * rng.uniform(0.3, 1.0)
        at += length
    return level * said


def around(signal: Signal, before: Samples, after: Samples) -> Signal:
    """``signal`` with something, shape (frames,), on both tracks before and after it."""
    pieces = [np.broadcast_to(before, (2, before.size)), signal.samples, np.broadcast_to(after, (2, after.size))]
    return Signal(np.concatenate(pieces, axis=1), signal.sample_rate_hz)


def hissing(signal: Signal, rms: float, seed: int = 1) -> Signal:
    """With white noise on both tracks."""
    noise = rms * np.random.default_rng(seed).standard_normal(signal.samples.shape)
    return Signal(signal.samples + noise, signal.sample_rate_hz)


def at_rate(signal: Signal, rate_hz: int) -> Signal:
    """Captured at another sample rate."""
    ratio = Fraction(rate_hz, signal.sample_rate_hz)
    samples = resample_poly(signal.samples.astype(np.float64), ratio.numerator, ratio.denominator, axis=1)
    return Signal(samples, rate_hz)


def faster(signal: Signal, percent: float) -> Signal:
    """Played at another speed."""
    ratio = Fraction(100 + int(percent), 100)
    samples = resample_poly(signal.samples.astype(np.float64), ratio.denominator, ratio.numerator, axis=1)
    return Signal(samples, signal.sample_rate_hz)


def changed(signal: Signal, change: Callable[[NDArray[np.float32]], NDArray[np.float32]]) -> Signal:
    """With other samples."""
    return Signal(change(signal.samples), signal.sample_rate_hz)


def _silence(seconds: float, signal: Signal) -> Samples:
    return np.zeros(int(seconds * signal.sample_rate_hz))


def _said(signal: Signal, seconds: float, seed: int, level: float = 0.3) -> Samples:
    return voice(seconds, signal.sample_rate_hz, seed, level)


CAPTURES: dict[str, Callable[[Signal], Signal]] = {
    "as recorded": lambda s: s,
    "50 dB too quiet": lambda s: changed(s, lambda x: x * np.float32(10**-2.5)),
    "20 dB too loud, clipped": lambda s: changed(s, lambda x: np.clip(10 * x, -1, 1)),
    "clipped on one side": lambda s: changed(s, lambda x: np.clip(x, -0.9, 0.2)),
    "offset": lambda s: changed(s, lambda x: 0.5 * x + np.float32(0.3)),
    "another offset on each track": lambda s: changed(s, lambda x: 0.5 * x + np.array([[0.3], [-0.2]], np.float32)),
    "silence before and after": lambda s: around(s, _silence(7, s), _silence(5, s)),
    "hiss before and after": lambda s: hissing(around(s, _silence(5, s), _silence(5, s)), 0.02),
    "much hiss": lambda s: hissing(around(s, _silence(5, s), _silence(5, s)), 0.14),
    "voice before and after": lambda s: around(s, _said(s, 6, 1), _said(s, 5, 2)),
    "loud voice, quiet signal": lambda s: around(
        changed(s, lambda x: 0.2 * x), _said(s, 6, 3, 0.9), _said(s, 5, 4, 0.9)
    ),
    "from within the leader": lambda s: changed(s, lambda x: x[:, int(0.6 * s.sample_rate_hz) :]),
    "8,000 Hz": lambda s: at_rate(s, 8_000),
    "11,025 Hz": lambda s: at_rate(s, 11_025),
    "22,050 Hz": lambda s: at_rate(s, 22_050),
    "48,000 Hz": lambda s: at_rate(s, 48_000),
    "96,000 Hz": lambda s: at_rate(s, 96_000),
    "tracks exchanged": lambda s: changed(s, lambda x: x[::-1]),
    "inverted": lambda s: changed(s, lambda x: -x),
    "left inverted": lambda s: changed(s, lambda x: x * np.array([[-1], [1]], np.float32)),
    "6 % slow": lambda s: faster(s, -6),
    "6 % fast": lambda s: faster(s, 6),
    "all at once": lambda s: hissing(
        around(
            changed(faster(s, 4), lambda x: np.clip(0.1 - 0.4 * x, -0.3, 0.5)), _said(s, 3, 5, 0.4), _said(s, 3, 6, 0.4)
        ),
        0.01,
    ),
}
"""What every ready stack must live with."""
