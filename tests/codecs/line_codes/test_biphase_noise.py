"""Biphase in noise: error rates against theory, honest confidence, and nothing heard where nothing is."""

import numpy as np
import pytest
from scipy.stats import norm
from tapewright.codecs.line_codes.biphase import Biphase
from tapewright.codecs.line_codes.pulse_detection import same_sign
from tapewright.contracts.signal import Signal

RATE = 44_100
BITS = 24_000


def theory(variant, eb_n0_db):
    """Bit error rate in white noise: antipodal Q(sqrt(2 g)) for level, 2 p (1 - p) of it for mark and space.

    Textbook laws of coherent antipodal signalling, without and with coherently detected differential encoding.
    """
    p = norm.sf(np.sqrt(2 * 10 ** (eb_n0_db / 10)))
    return p if variant == "level" else 2 * p * (1 - p)


def heard_in_noise(code, eb_n0_db, seed):
    """Data and what was heard of it; Eb is the energy of both tracks in the data part over the bits in it."""
    rng = np.random.default_rng(seed)
    bits = rng.integers(0, 2, BITS).astype(np.uint8)
    signal = code.modulate(bits, RATE)
    begin, end = RATE * 3 // 2, signal.frames - RATE
    energy_a_bit = (signal.samples[:, begin:end].astype(float) ** 2).sum() / (end - begin) * RATE / code.bit_rate_hz
    if code.tracks == "split":
        energy_a_bit /= 2
    # Density N0 / 2 on either side of zero, so each sample of white noise has the variance N0 / 2.
    noise = np.sqrt(energy_a_bit / 10 ** (eb_n0_db / 10) / 2)
    return bits, code.demodulate(Signal(signal.samples + rng.normal(0, noise, signal.samples.shape), RATE))


@pytest.mark.parametrize("variant", ["mark", "space", "level"])
@pytest.mark.parametrize("tracks", ["left", "same", "split"])
def test_bit_error_rate_is_within_1_5_db_of_theory(variant, tracks):
    """Null: the detector loses 1.1 dB at Eb/N0 = 6 dB (timing and amplitude are learnt from the same noise), so it
    errs as often as theory at 4.9 dB. N = 24,000 bits, seed 11. The bound is theory at 4.5 dB; under the null the
    count (156 of 211 allowed for level, 310 of 418 for the others) passes it with a chance below 1e-4. Below, the count
    may not beat theory at 6 dB (57 and 114) by more than 4 sigma.
    """
    bits, heard = heard_in_noise(Biphase(variant=variant, tracks=tracks, edge_share=0.0), 6.0, 11)
    assert len(heard) >= BITS
    wrong = int((heard.bits[:BITS] != bits).sum())
    best = theory(variant, 6.0) * BITS
    assert best - 4 * np.sqrt(best) < wrong < theory(variant, 4.5) * BITS


@pytest.mark.parametrize("variant", ["mark", "level"])
def test_likelihoods_are_calibrated(variant):
    """Null: a bit of magnitude L is wrong with probability 1 / (1 + e^L). N = 24,000 at 5 dB, seed 12; a bin's
    count may be off by 5 sigma (false alarm 6e-7 a bin), and since amplitude and noise are estimates by another 25 %.
    """
    bits, heard = heard_in_noise(Biphase(variant=variant, tracks="left"), 5.0, 12)
    wrong = heard.bits[:BITS] != bits
    size = np.abs(heard.values[:BITS])
    claimed = 1 / (1 + np.exp(size))
    for low, high in ((0, 0.7), (0.7, 1.5), (1.5, 2.5), (2.5, 4)):
        inside = (size >= low) & (size < high)
        assert inside.sum() > 200
        spread = 5 * np.sqrt(claimed[inside].mean() / inside.sum())
        assert abs(wrong[inside].mean() - claimed[inside].mean()) < spread + 0.25 * claimed[inside].mean()


def by_forward_backward(high_first, high_second):
    """Probability of a 1 in each cell of biphase-mark by the general two-state recursion over all four branches.

    The state is the level before a cell; its first half is the opposite, its second half the same again for a 0 and
    the state for a 1. Given are the probabilities that each half cell is high, each by itself.
    """
    n = len(high_first)
    first = np.stack((1 - high_first, high_first), 1)
    second = np.stack((1 - high_second, high_second), 1)
    branches = [(state, bit, 1 - state, state if bit else 1 - state) for state in (0, 1) for bit in (0, 1)]
    forward = np.full((n + 1, 2), 0.5)
    backward = np.full((n + 1, 2), 0.5)
    for k in range(n):
        forward[k + 1] = 0
        for state, _, half, end in branches:
            forward[k + 1, end] += forward[k, state] * first[k, half] * second[k, end]
        forward[k + 1] /= forward[k + 1].sum()
    for k in reversed(range(n)):
        backward[k] = 0
        for state, _, half, end in branches:
            backward[k, state] += first[k, half] * second[k, end] * backward[k + 1, end]
        backward[k] /= backward[k].sum()
    ones = np.empty(n)
    for k in range(n):
        chances = [0.0, 0.0]
        for state, bit, half, end in branches:
            chances[bit] += forward[k, state] * first[k, half] * second[k, end] * backward[k + 1, end]
        ones[k] = chances[1] / sum(chances)
    return ones


def test_the_pairwise_rule_is_the_two_state_posterior():
    rng = np.random.default_rng(13)
    first, second = rng.normal(0, 3, (2, 60))
    expected = by_forward_backward(1 / (1 + np.exp(-first)), 1 / (1 + np.exp(-second)))
    falling = np.concatenate(([0.0], second)) - np.concatenate((first, [0.0]))
    assert same_sign(falling) == pytest.approx(np.log(expected / (1 - expected)), rel=1e-6, abs=1e-9)


def test_the_pairwise_rule_beats_deciding_half_cells():
    """3 dB, a factor of two in Q's argument squared, lie between deciding both halves of each pulse together and
    deciding one of them: checked as bit error rates at 6 dB, 16 sigma apart.
    """
    halves = norm.sf(np.sqrt(10**0.6))
    decided_by_halves = 2 * halves * (1 - halves)
    bits, heard = heard_in_noise(Biphase(tracks="left", edge_share=0.0), 6.0, 14)
    assert (heard.bits[:BITS] != bits).mean() < decided_by_halves / 3


@pytest.mark.parametrize(
    "arguments", [{}, {"variant": "level", "tracks": "left"}, {"tracks": "split", "bit_rate_hz": 4000}]
)
def test_a_minute_of_white_noise_holds_nothing(arguments):
    """Measured: no false signal in 600 s of white noise for each of these; 60 s, seed 15."""
    noise = np.random.default_rng(15).normal(0, 0.1, (2, 60 * RATE)).astype(np.float32)
    assert len(Biphase(**arguments).demodulate(Signal(noise, RATE))) == 0


def test_noise_after_the_end_is_not_handed_on():
    bits = np.random.default_rng(16).integers(0, 2, 1000).astype(np.uint8)
    samples = Biphase(tail_s=5.0).modulate(bits).samples
    noisy = samples + np.random.default_rng(17).normal(0, 0.2, samples.shape)
    heard = Biphase().demodulate(Signal(noisy, RATE))
    assert heard.bits[:1000].tolist() == bits.tolist()
    assert len(heard) <= 1064


@pytest.mark.parametrize("bit_rate_hz", [4000, 8000])
@pytest.mark.parametrize("variant", ["mark", "level"])
def test_the_fastest_rates_pass_an_ordinary_band(bit_rate_hz, variant):
    """Eighth-order low-pass at 12.5 kHz, the band of DIN 45500, with noise 30 dB below full scale."""
    from scipy.signal import butter, sosfilt

    code = Biphase(bit_rate_hz=bit_rate_hz, variant=variant, tracks="split")
    bits = np.random.default_rng(18).integers(0, 2, 4000).astype(np.uint8)
    samples = sosfilt(butter(8, 12_500, fs=RATE, output="sos"), code.modulate(bits).samples, axis=1)
    samples += np.random.default_rng(19).normal(0, 10 ** (-30 / 20) / np.sqrt(2), samples.shape)
    assert code.demodulate(Signal(samples, RATE)).bits[:4000].tolist() == bits.tolist()
