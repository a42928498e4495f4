"""A recording as played by a deck whose speed is off and wanders."""

import numpy as np

RATE = 44_100
FINE = 192_000


def played(code, bits, speed=0.0, wow=0.0, wow_hz=1.0, phase=0.0):
    """The recording played at ``1 + speed`` times ``1 + wow cos(2 pi f t + phase)`` of its speed.

    With it the tape position of each frame, the integral of the speed in closed form; read from a rendering at 192 kHz
    by straight lines between its samples.
    """
    fine = code.modulate(bits, FINE)
    times = np.arange(int(fine.duration_s / (1 + speed) * RATE)) / RATE
    turn = 2 * np.pi * wow_hz
    tape_s = (1 + speed) * (times + wow / turn * (np.sin(turn * times + phase) - np.sin(phase)))
    frames = np.arange(fine.frames)
    return np.stack([np.interp(tape_s * FINE, frames, row) for row in fine.samples]).astype(np.float32), tape_s


def some_bits(count, seed):
    return np.random.default_rng(seed).integers(0, 2, count).astype(np.uint8)
