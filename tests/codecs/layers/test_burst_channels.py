"""Reed-Solomon words on channels that err in bursts: the disc's interleave, Gilbert and Elliott's two states; and how
often words beyond the bound pass for others.
"""

from math import comb, factorial

import numpy as np
import pytest
from tapewright.codecs.layers.interleave import Interleave
from tapewright.codecs.layers.rs import ReedSolomon
from tapewright.contracts.bits import from_bytes
from tapewright.contracts.soft_bits import LOST, SoftBits

INNER, OUTER = ReedSolomon(parity_bytes=4, word_bytes=32), ReedSolomon(parity_bytes=4, word_bytes=28)
"""C1 and C2 of ECMA-130 and IEC 60908: (32, 28) and (28, 24) over 0x11D, roots from alpha^0 (roots from memory)."""
DELAYS = 4 * np.arange(28)
"""Frames by which each symbol of a C2 word is late: 4 j (from memory)."""
FRAME_BITS = 32 * 8


def disc(data: bytes, erased_from_frame: int, frames: int) -> tuple[bytes, bool]:
    """``data`` through the disc's interleave with that many whole frames unheard: what comes out, and the verdict."""
    words = len(data) // 24
    symbols = np.packbits(OUTER.encode(from_bytes(data))).reshape(words, 28)
    late = np.zeros((words + DELAYS[-1], 28), np.uint8)
    for place, delay in enumerate(DELAYS):
        late[delay : delay + words, place] = symbols[:, place]
    heard = np.where(INNER.encode(np.unpackbits(late)), 3.0, -3.0).reshape(-1, FRAME_BITS)
    heard[erased_from_frame : erased_from_frame + frames] = 0
    (inner,) = INNER.decode((SoftBits(heard.ravel()),)).passes
    by_symbol = inner.values.reshape(-1, 28, 8)
    in_time = np.stack([by_symbol[delay : delay + words, place] for place, delay in enumerate(DELAYS)], axis=1)
    found = OUTER.decode((SoftBits(in_time.ravel()),))
    return np.packbits(found.passes[0].bits).tobytes(), bool(found.verdict)


@pytest.mark.parametrize("begins", [0, 1, 57, 108, 150])
def test_a_burst_of_4096_bits_is_corrected_by_the_discs_interleave(begins):
    # Words are 4 erasures strong and their symbols 4 frames apart: 4 * 4 frames of 256 bits are the longest burst.
    data = np.random.default_rng(46).bytes(24 * 150)
    assert 16 * FRAME_BITS == 4096
    assert disc(data, begins, 16) == (data, True)


def test_one_frame_more_is_too_much():
    data = np.random.default_rng(47).bytes(24 * 150)
    found, verdict = disc(data, 110, 17)
    assert not verdict
    assert found != data


# p = P(good to bad), r = P(bad to good), k and h = P(right) in either; P(> 16 errors in 255) by the transfer matrix.
GILBERT, ELLIOTT = (0.01, 0.1, 1.0, 0.0), (0.001, 0.02, 1.0, 0.5)


def more_than(most, symbols, p, r, k, h):
    """P(more than ``most`` errors in so many symbols), from the steady state: exact, by the transfer matrix."""
    states = np.zeros((2, most + 1))
    states[:, 0] = r / (p + r), p / (p + r)
    right = np.array([k, h])[:, None]
    for _ in range(symbols):
        states = right * states + (1 - right) * np.pad(states, ((0, 0), (1, 0)))[:, :-1]
        states = np.array([[1 - p, r], [p, 1 - r]]) @ states
    return 1 - states.sum()


def errors_of(rng, rows, symbols, p, r, k, h):
    """Which symbols are wrong, shape (rows, symbols): each row from the steady state on."""
    wrong, bad = np.empty((rows, symbols), bool), rng.random(rows) < p / (p + r)
    for place in range(symbols):
        wrong[:, place] = rng.random(rows) < np.where(bad, 1 - h, 1 - k)
        bad = np.where(bad, rng.random(rows) >= r, rng.random(rows) < p)
    return wrong


def damaged(bits, wrong, rng):
    """Soft bits of bytes, those that are wrong changed at random."""
    change = np.unpackbits(rng.integers(1, 256, wrong.size, dtype=np.uint8)[:, None], axis=1).astype(bool)
    values = np.where(bits, 3.0, -3.0).reshape(-1, 8)
    values[wrong.ravel()[:, None] & change] *= -1
    return SoftBits(values.ravel())


def failed_words(heard, words):
    return int((np.abs(heard.values) <= LOST).reshape(words, -1).any(axis=1).sum())


@pytest.mark.parametrize(("channel", "printed"), [(GILBERT, 5.661676e-1), (ELLIOTT, 1.328386e-1)])
def test_words_fail_on_a_channel_of_two_states_as_the_exact_table_says(channel, printed):
    """Null: RS(255, 223) fails with P(> 16 errors in 255). Seed 48, N = 800; bounds of 5 s.d. (13.9 and 9.6 words)
    are left by chance once in 1.7 million runs. E. N. Gilbert 1960, E. O. Elliott 1963; figures computed here.
    """
    expected = more_than(16, 255, *channel)
    assert expected == pytest.approx(printed, rel=1e-6)
    layer, rng, words = ReedSolomon(), np.random.default_rng(48), 800
    coded = layer.encode(from_bytes(rng.bytes(words * 223)))
    (heard,) = layer.decode((damaged(coded, errors_of(rng, words, 255, *channel), rng),)).passes
    assert abs(failed_words(heard, words) - words * expected) < 5 * np.sqrt(words * expected * (1 - expected))


def test_interleaving_turns_bursts_into_chance():
    """Elliott's channel, one stretch through 200 words: 26.6 of 200 fail in a row (above), and 0.03 were all errors
    chance (1.590118e-4 each). 200 deep, neighbours in a word have a correlation of 0.979^200 = 1.4 %. Seed 49; more
    than 5 failures would have a chance below 1e-4 even at ten times that share.
    """
    layer, depth, rng, words = ReedSolomon(), Interleave(depth=200), np.random.default_rng(49), 200
    coded = depth.encode(layer.encode(from_bytes(rng.bytes(words * 223))))
    wrong = errors_of(rng, 1, words * 255, *ELLIOTT)
    assert wrong.sum() > 500
    (spread,) = depth.decode((damaged(coded, wrong, rng),)).passes
    (heard,) = layer.decode((spread,)).passes
    assert failed_words(heard, words) <= 5


def spheres(n, k):
    """Q: the share of all words within t of a codeword (R. J. McEliece and L. Swanson 1986; from memory)."""
    t = (n - k) // 2
    return sum(comb(n, s) * 255**s for s in range(t + 1)) / 256 ** (n - k)


def test_miscorrection_is_bounded_by_one_over_t_factorial():
    figures = {(255, 223): 2.608889e-14, (255, 239): 2.085336e-5, (204, 188): 3.401878e-6, (32, 28): 7.511247e-3}
    for (n, k), quotient in figures.items():
        assert spheres(n, k) == pytest.approx(quotient, rel=1e-6)
        assert spheres(n, k) <= 1 / factorial((n - k) // 2)


@pytest.mark.parametrize(("n", "errors"), [(32, 4), (32, 20), (28, 8)])
def test_words_with_too_many_errors_pass_for_others_as_often_as_the_spheres_say(n, errors):
    # Null: Q = 7.511247e-3 of 20,000 words of 32 (150 pass, s.d. 12.2), 5.724512e-3 of 28 (114, s.d. 10.7). Seed 50;
    # bounds of 5 s.d. are left by chance once in 1.7 million runs.
    layer, rng, words = ReedSolomon(parity_bytes=4, word_bytes=n), np.random.default_rng(50), 20_000
    coded = layer.encode(from_bytes(rng.bytes(words * (n - 4))))
    wrong = rng.random((words, n)).argsort(axis=1) < errors
    (heard,) = layer.decode((damaged(coded, wrong, rng),)).passes
    expected = words * spheres(n, n - 4)
    assert abs(words - failed_words(heard, words) - expected) < 5 * np.sqrt(expected)
