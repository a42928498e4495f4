"""MFM: the published words, and the rule behind them."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tapewright.codecs.line_codes.mfm import Mfm
from tapewright.contracts.bits import from_bytes

# Clock and data bits of a byte after a 0 (clock = NOR of the data around it: common practice), computed by hand from
# that rule. A1 and C2 are the bytes whose words with a missing clock bit, 4489 and 5224, are published as marks of
# flexible disks: one bit less each.
WORDS = {"a5": "4491", "00": "aaaa", "ff": "5555", "4e": "9254", "a1": "44a9", "c2": "52a4"}


@pytest.mark.parametrize("byte", WORDS)
def test_words_are_the_published_ones(byte):
    cells = Mfm().changes(np.concatenate((np.zeros(1, np.uint8), from_bytes(bytes.fromhex(byte)))))[2:]
    assert np.packbits(cells).tobytes().hex() == WORDS[byte]


@pytest.mark.parametrize(("byte", "mark"), [("a1", 0x4489), ("c2", 0x5224)])
def test_the_marks_of_disks_lack_one_clock_bit(byte, mark):
    assert bin(int(WORDS[byte], 16) ^ mark).count("1") == 1


@given(st.integers(0, 2**32 - 1))
def test_changes_are_two_to_four_cells_apart(seed):
    bits = np.random.default_rng(seed).integers(0, 2, 300).astype(np.uint8)
    gaps = np.diff(np.flatnonzero(Mfm().changes(bits)))
    assert set(gaps) <= {2, 3, 4}


def test_changes_stand_where_the_rule_puts_them():
    """On the tape: a change in the middle of a 1, and at the edge between two 0, nowhere else."""
    code = Mfm(bit_rate_hz=1000, leader_s=0.1)
    bits = np.random.default_rng(1).integers(0, 2, 400).astype(np.uint8)
    samples = code.modulate(bits, 40_000).samples[0]
    crossings = np.flatnonzero(np.diff(np.signbit(samples[: (100 + 32 + 400) * 40]).astype(int))) + 1
    lead = (100 + 32) * 40
    middles = lead + 40 * np.flatnonzero(bits) + 20
    edges = lead + 40 * (np.flatnonzero((bits[:-1] == 0) & (bits[1:] == 0)) + 1)
    expected = np.sort(np.concatenate((middles, edges)))
    assert np.abs(crossings[crossings > lead + 10][: expected.size] - expected).max() <= 1


@pytest.mark.parametrize("state", range(4))
def test_the_trellis_is_the_rule(state):
    """Every branch, against changes worked out from the rule."""
    trellis = Mfm().trellis
    level, last = 2 * (state >> 1) - 1, state & 1
    for branch in np.flatnonzero(trellis.sources == state):
        bit = int(trellis.bits[branch, 0])
        changes = Mfm().changes(np.array([last, bit], np.uint8))[2:]
        levels = level * np.cumprod(1 - 2.0 * changes)
        assert trellis.levels[branch].tolist() == levels.tolist()
        assert trellis.targets[branch] == 2 * (levels[-1] > 0) + bit
