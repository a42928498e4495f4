import numpy as np
import pytest
from tapewright.codecs.line_codes.multicarrier import Multicarrier
from tapewright.codecs.line_codes.multicarrier_lateness import folded, known_lateness, path, refined
from tapewright.codecs.line_codes.multicarrier_loading import constellation
from tapewright.codecs.line_codes.multicarrier_tape import turned

LAYOUT = Multicarrier().layout


def symbols(late, bits, snr_db, seed=1):
    """Random points on both tracks, each symbol ``late`` by so many places, in noise."""
    rng = np.random.default_rng(seed)
    sent = constellation(bits).points(rng.integers(0, 2, (len(late), 2, LAYOUT.carriers.size * bits)).astype(np.uint8))
    noise = rng.normal(0, 10 ** (-snr_db / 20) / np.sqrt(2), (*sent.shape, 2)) @ np.array([1, 1j])
    return sent, sent * turned(LAYOUT, np.asarray(late, float)) + noise


@pytest.mark.parametrize(("bits", "snr_db"), [(1, 3), (2, 6), (4, 15), (6, 20)])
def test_a_leap_is_found_from_the_data_alone(bits, snr_db):
    """Seed 1. The fourth power of a carrier at these ratios has some 0.2 of its height left: 90 of 15 rms over all."""
    late = np.concatenate((np.full(12, 0.3), np.full(20, 17.6), np.full(8, -9.2)))
    _, heard = symbols(late, bits, snr_db)
    power = 2 if bits == 1 else 4
    folds = folded(heard, np.ones(heard.shape, np.float32), power)
    found = refined(folds, power, LAYOUT, path(folds, power, LAYOUT, 0.0))
    assert found.shape == (40, 2)
    assert np.abs(found - late[:, None]).max() < 0.45
    assert np.abs(found - late[:, None]).mean() < 0.1


def test_symbols_that_nobody_hears_do_not_lead_astray():
    late = np.zeros(30)
    _, heard = symbols(late, 2, 8)
    heard[10:18] = symbols(np.zeros(8), 2, -60, seed=2)[1] / 1000
    folds = folded(heard, np.where(np.arange(30)[:, None, None] // 8 == 1, 0.01, 1.0).astype(np.float32), 4)
    found = path(folds, 4, LAYOUT, 0.0)
    assert np.abs(np.delete(found, np.s_[8:18])).max() <= 0.5


def test_tracks_may_differ():
    sent, _ = symbols(np.zeros(6), 4, 60)
    late = np.tile([[-0.3, 0.4]], (6, 1))
    folds = folded((sent * turned(LAYOUT, late)).astype(np.complex64), np.ones(sent.shape, np.float32), 4)
    assert np.allclose(refined(folds, 4, LAYOUT, np.zeros(6)), late, atol=0.11)


def test_known_symbols_tell_how_late_they_are():
    """A response that nobody knows, the same in all, and a leap in the middle of the leader."""
    late = np.concatenate((np.zeros(12), np.full(7, 25.5)))
    sent, heard = symbols(late, 2, 3)
    rng = np.random.default_rng(3)
    response = np.exp(2j * np.pi * np.cumsum(rng.normal(0, 0.02, LAYOUT.carriers.size)))
    assert np.abs(known_lateness(heard * response * sent.conj(), LAYOUT) - late).max() <= 0.5
