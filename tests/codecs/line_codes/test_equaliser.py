"""The equaliser against smearing that is known."""

import numpy as np
import pytest
from tapewright.codecs.line_codes.equaliser import REACH, STRETCH, equalised


def smeared(count, smear, seed, noise=0.02):
    rng = np.random.default_rng(seed)
    symbols = rng.choice([-1.0, 1.0], count)
    return symbols, np.convolve(symbols, smear, "same") + rng.normal(0, noise, count)


@pytest.mark.parametrize("smear", [(0.2, 1.0, 0.2), (0.3, 1.0, -0.1), (0.1, 0.25, 1.0, 0.0, -0.2)])
def test_what_is_smeared_comes_apart(smear):
    """What remains of the smear, 20 % or more of a symbol before, is below 6 %: noise of 2 % and seven taps."""
    symbols, values = smeared(5 * STRETCH + 100, smear, 1)
    assert np.std(values - symbols) > 0.2
    assert np.std(equalised(values, np.ones(values.size, bool)) - symbols) < 0.06


def test_a_smear_that_wanders_is_followed():
    """From none to 0.3 and back within six stretches."""
    count = 6 * STRETCH
    symbols, _ = smeared(count, (1.0,), 2)
    share = 0.3 * np.sin(np.pi * np.arange(count) / count)
    values = symbols + share * np.roll(symbols, 1)
    assert np.std(equalised(values, np.ones(count, bool)) - symbols) < 0.25 * np.std(values - symbols)


@pytest.mark.parametrize("pattern", [(1.0,), (1.0, -1.0), (1.0, 1.0, -1.0, -1.0)])
def test_what_repeats_itself_teaches_nothing_wrong(pattern):
    values = np.resize(pattern, 2000)
    inner = slice(REACH, -REACH)
    assert equalised(values, np.ones(2000, bool))[inner] == pytest.approx(values[inner], abs=0.01)


def test_noise_alone_and_few_symbols_are_borne():
    noise = np.random.default_rng(3).normal(0, 1, 1000)
    assert np.isfinite(equalised(noise, np.ones(1000, bool))).all()
    assert equalised(noise, np.zeros(1000, bool)) == pytest.approx(noise)
    for count in range(9):
        assert equalised(noise[:count], np.ones(count, bool)).shape == (count,)
