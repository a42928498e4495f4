import numpy as np
import pytest
from tapewright.kernels.tone_mixer import baseband


@pytest.mark.parametrize("hop", [1, 7, 30])
def test_baseband_is_the_sum_it_says(hop: int) -> None:
    """Against the plain sum in double precision; tolerance: float32 rounding over one hop."""
    rng = np.random.default_rng(1)
    track = rng.normal(0, 0.3, 1003).astype(np.float32)
    cycles = 0.0683
    turned = track.astype(np.float64) * np.exp(-2j * np.pi * cycles * np.arange(track.size))
    hops = track.size // hop
    expected = turned[: hops * hop].reshape(hops, hop).sum(axis=1)
    assert np.abs(baseband(track, cycles, hop) - expected).max() < 2e-6 * hop


def test_tone_and_noise_have_the_levels_it_says() -> None:
    """A sine of amplitude A gives A * hop / 2; white noise the mean square s**2 * hop, white from hop to hop.

    Null: both hold. Seed 2, 40,000 hops: the mean square has a relative standard error of 0.5 % and the correlation
    of neighbours one of 0.005; limits at 5 sigma, false alarm below 2e-6 together.
    """
    hop, frames = 20, 800_000
    cycles = 0.1
    sine = (0.7 * np.sin(2 * np.pi * cycles * np.arange(2000))).astype(np.float32)
    assert np.abs(np.abs(baseband(sine, cycles, hop)) - 7.0).max() < 1e-4
    noise = np.random.default_rng(2).normal(0, 0.2, frames).astype(np.float32)
    mixed = baseband(noise, cycles, hop)
    power = np.mean(np.abs(mixed) ** 2)
    assert abs(power / (0.04 * hop) - 1.0) < 0.025
    assert abs(np.mean(mixed[1:] * mixed[:-1].conj())) / power < 0.025


def test_late_hops_keep_their_phase() -> None:
    """Half an hour in, the phase of a steady tone is still right to a hundredth of a cycle."""
    cycles, hop, far = 0.0680272, 29, 4096 * 400
    frames = np.arange(far + 290)
    tone = np.cos(2 * np.pi * ((cycles * frames) % 1.0)).astype(np.float32)
    phases = np.angle(baseband(tone, cycles, hop)[-8:])
    assert np.abs(phases).max() < 2 * np.pi * 0.01


def test_a_cut_tape_gives_the_same_hops() -> None:
    track = np.random.default_rng(3).normal(0, 0.3, 4096 * 3).astype(np.float32)
    assert np.array_equal(baseband(track, 0.07, 16)[:256], baseband(track[:4096], 0.07, 16))
    assert baseband(track[:15], 0.07, 16).size == 0
