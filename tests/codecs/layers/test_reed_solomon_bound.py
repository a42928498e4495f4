"""The bound 2e + f <= n - k: kept against the library that finds the words, and the failure rates that follow."""

import numpy as np
import pytest
from reedsolo import ReedSolomonError, RSCodec
from scipy.stats import binom
from tapewright.codecs.layers.rs import ReedSolomon
from tapewright.codecs.layers.word_correction import WordCorrector
from tapewright.contracts.bits import from_bytes
from tapewright.contracts.soft_bits import LOST, SoftBits

N, K = 32, 28
LAYER = ReedSolomon(parity_bytes=N - K, word_bytes=N)
CORRECTOR = WordCorrector(LAYER.code, 0x11D, 2, 0)


def damaged_words(errors, erasures, words, seed):
    """Sent words, received words and which bytes are erased; erased bytes are wrong as well."""
    rng = np.random.default_rng(seed)
    data = rng.integers(0, 256, (words, K), dtype=np.uint8)
    sent = np.concatenate([data, LAYER.code.parity(data)], axis=1)
    for word in sent:
        hit = rng.permutation(N)[: errors + erasures]
        received = word.copy()
        received[hit] ^= rng.integers(1, 256, hit.size, dtype=np.uint8)
        erased = np.zeros(N, bool)
        erased[hit[errors:]] = True
        yield word, received, erased


@pytest.mark.parametrize(("errors", "erasures"), [(2, 0), (1, 2), (0, 3), (0, 4), (1, 1)])
def test_every_word_within_the_bound_is_put_right(errors, erasures):
    for sent, received, erased in damaged_words(errors, erasures, 100, seed=41):
        found = CORRECTOR.corrected(received, erased)
        assert found is not None
        assert np.array_equal(found.word, sent)
        assert (found.errors, found.erasures) == (errors, erasures)


@pytest.mark.parametrize(("errors", "erasures"), [(2, 1), (1, 3)])
def test_no_word_beyond_the_bound_is_believed_though_the_library_believes_some(errors, erasures):
    # With e + f + (n-k-f)//2 < d = 5 no codeword is near enough, so a decoder that keeps the bound accepts none.
    # reedsolo 1.7.0 accepts about 0.9 % of (2,1) and 11.7 % of (1,3) (measured over 20,000 words each). Seed 42,
    # N = 1,500 and 300: it accepts none with a chance of 2e-6 and 6e-17.
    library = RSCodec(N - K)
    believed_by_library = 0
    for _, received, erased in damaged_words(errors, erasures, 1500 if erasures == 1 else 300, seed=42):
        assert CORRECTOR.corrected(received, erased) is None
        try:
            library.decode(bytearray(received.tobytes()), erase_pos=np.flatnonzero(erased).tolist())
            believed_by_library += 1
        except ReedSolomonError:
            pass
    assert believed_by_library > 0


def test_the_word_that_leaves_most_parity_unused_is_taken():
    # The first reading spends all parity on erasures and so "corrects" to a wrong word; the second has one error.
    (sent, received, erased), *_ = damaged_words(1, 4, 1, seed=46)
    second = sent.copy()
    second[7] ^= 1
    readings = [(received, np.where(erased, 0, 3).astype(np.float32)), (second, np.full(N, 3, np.float32))]
    assert CORRECTOR.most_credible(readings[:1], [False]).used == 4
    best = CORRECTOR.most_credible(readings, [False, False])
    assert np.array_equal(best.word, sent)
    assert (best.errors, best.erasures) == (1, 0)


@pytest.mark.parametrize("change", [b"\0" * N, b"\1" + b"\0" * (N - 1)], ids=["as read", "one byte changed"])
def test_what_the_library_says_is_checked(monkeypatch, change):
    # A library that hands out words which are no codewords, as galois 0.4.11 was seen to do.
    class Careless:
        def decode(self, word, erase_pos):
            said = bytes(one ^ other for one, other in zip(word, change, strict=True))
            return said[:K], said, b""

    monkeypatch.setattr("tapewright.codecs.layers.word_correction._library_codec", lambda *_: Careless())
    for _, received, erased in damaged_words(1, 1, 5, seed=47):
        assert CORRECTOR.corrected(received, erased) is None


def failed_words(words, error_rate, erasure_rate, seed):
    """How many of that many words fail when each byte is wrong or erased at random."""
    rng = np.random.default_rng(seed)
    data = rng.bytes(words * K)
    values = np.where(LAYER.encode(from_bytes(data)), 3.0, -3.0).reshape(-1, 8)
    draw = rng.random(len(values))
    erased = draw < erasure_rate
    wrong = ~erased & (draw < erasure_rate + error_rate)
    change = np.unpackbits(rng.integers(1, 256, len(values), dtype=np.uint8)[:, None], axis=1).astype(bool)
    values[(wrong[:, None] | erased[:, None]) & change] *= -1
    values[erased] *= LOST / 3
    heard = LAYER.decode((SoftBits(values.ravel()),)).passes[0]
    right = (heard.bits == from_bytes(data)) & (np.abs(heard.values) > LOST)
    return int((~right.reshape(words, -1).all(axis=1)).sum())


def test_word_failure_is_the_binomial_tail():
    # Null: P = binom.sf(t, n, p) = 0.2138855 for t = 2, n = 32, p = 0.05. Seed 43, N = 3,000: mean 641.7, s.d. 22.5;
    # 5 s.d. is a false alarm once in 1.7 million runs.
    expected = float(binom.sf(2, N, 0.05))
    assert expected == pytest.approx(2.138855e-1, rel=1e-6)
    failed = failed_words(3000, 0.05, 0.0, seed=43)
    assert abs(failed - 3000 * expected) < 5 * np.sqrt(3000 * expected * (1 - expected))


def test_word_failure_with_erasures_is_the_mixed_closed_form():
    # Null: P = 1 - sum_f binom.pmf(f, n, ps) binom.cdf((n-k-f)//2, n-f, pe/(1-ps)); the form gives 9.068803e-03 at
    # (.005, .02). Seed 44, N = 3,000, bounds 5 s.d. (false alarm once in 1.7 million runs).
    def closed_form(pe, ps):
        f = np.arange(N - K + 1)
        return 1 - float((binom.pmf(f, N, ps) * binom.cdf((N - K - f) // 2, N - f, pe / (1 - ps))).sum())

    assert closed_form(0.005, 0.02) == pytest.approx(9.068803e-3, rel=1e-6)
    expected = closed_form(0.02, 0.05)
    failed = failed_words(3000, 0.02, 0.05, seed=44)
    assert abs(failed - 3000 * expected) < 5 * np.sqrt(3000 * expected * (1 - expected))


def test_random_words_are_miscorrected_as_often_as_the_spheres_say():
    # Null: a bounded-distance decoder accepts a random word with Q = 256^-4 sum_{s<=2} C(255,s) 255^s = 0.490318 for
    # RS(255,251). Seed 45, N = 600: mean 294.2, s.d. 12.2, bounds 5 s.d. (once in 1.7 million runs).
    layer, rng = ReedSolomon(parity_bytes=4), np.random.default_rng(45)
    heard = layer.decode((SoftBits(np.where(rng.integers(0, 2, 600 * 255 * 8), 1.0, -1.0)),)).passes[0]
    accepted = int((np.abs(heard.values.reshape(600, -1)) > LOST).all(axis=1).sum())
    quotient = (1 + 255 * 255 + 255 * 127 * 255**2) / 256**4
    assert quotient == pytest.approx(0.490318, rel=1e-5)
    assert abs(accepted - 600 * quotient) < 5 * np.sqrt(600 * quotient * (1 - quotient))
