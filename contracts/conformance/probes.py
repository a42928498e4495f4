"""Probes: the sounds that the checks play, made with numpy alone so that no plug-in is needed to make them."""

from __future__ import annotations

import hashlib

import numpy as np
from numpy.typing import NDArray

from ..signal import Signal

RATE_HZ = 44_100


def generator(seed: int) -> np.random.Generator:
    """A generator that is a function of ``seed`` alone."""
    return np.random.Generator(np.random.PCG64(np.random.SeedSequence((0x7A9E, seed))))


def silence(seconds: float, rate_hz: int = RATE_HZ) -> Signal:
    """Nothing at all for ``seconds``."""
    return Signal(np.zeros((2, round(seconds * rate_hz)), np.float32), rate_hz)


def noise(seconds: float, peak: float, seed: int, rate_hz: int = RATE_HZ) -> Signal:
    """White noise, independent on the two tracks, uniform in +-``peak``."""
    return Signal(generator(seed).uniform(-peak, peak, (2, round(seconds * rate_hz))), rate_hz)


def chord(seconds: float, rate_hz: int = RATE_HZ, seed: int = 1) -> Signal:
    """Three steady tones and a little noise: something that every effect changes. Peak about 0.6."""
    time_s = np.arange(round(seconds * rate_hz)) / rate_hz
    tones = sum(np.sin(2 * np.pi * tone_hz * time_s) for tone_hz in (315.0, 1_130.0, 3_070.0))
    hiss = generator(seed).normal(0, 0.01, (2, time_s.size))
    return Signal(0.19 * np.stack([tones, np.roll(tones, 7)]) + hiss, rate_hz)


def another_format() -> Signal:
    """A tape that is nobody's: runs of 3 or 5 half-waves of 1.7 kHz on the left, ticks every 29 ms on the right."""
    half_wave = np.sin(np.linspace(0, np.pi, 13, endpoint=False))
    bits = generator(2).integers(0, 2, 700)
    left = np.concatenate([half_wave * (-1) ** k for bit in bits for k in range(3 + 2 * int(bit))])
    right = np.zeros_like(left)
    right[:: round(0.029 * RATE_HZ)] = 0.8
    return Signal(np.stack([0.7 * left, right]), RATE_HZ)


def payload(size: int, seed: int = 3) -> bytes:
    """``size`` bytes without a pattern."""
    return generator(seed).bytes(size)


def bits(size: int, seed: int = 4) -> NDArray[np.uint8]:
    """``size`` bits without a pattern."""
    return generator(seed).integers(0, 2, size).astype(np.uint8)


def fingerprint(signal: Signal) -> str:
    """A digest of the samples and the rate, to see that nothing touched them."""
    return hashlib.sha256(signal.samples.tobytes() + str(signal.sample_rate_hz).encode()).hexdigest()
