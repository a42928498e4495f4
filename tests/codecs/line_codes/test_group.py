"""Group codes: the published tables, and what they promise."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tapewright.codecs.line_codes.group import TABLES, Group
from tapewright.contracts.bits import from_bytes


def words(table):
    nibbles = np.unpackbits(np.arange(16, dtype=np.uint8)[:, None], axis=1)[:, 4:]
    return ["".join(map(str, Group(table=table).changes(nibble))) for nibble in nibbles]


def test_fddi_is_the_table_of_802_3():
    """IEEE 802.3, Table 24-1, data symbols 0 to F."""
    published = "11110 01001 10100 10101 01010 01011 01110 01111 10010 10011 10110 10111 11010 11011 11100 11101"
    assert words("fddi") == published.split()


def test_a_known_stretch_of_fddi():
    cells = Group().changes(from_bytes(bytes.fromhex("deadbeef")))
    assert "".join(map(str, cells)) == "1101111100101101101110111111001110011101"


def test_tape_follows_its_published_rule():
    """ISO 5652 / ECMA-50: abcd becomes (not a)abcd, except xx00 and 0001; the word of ab00 is that of ab11 backwards;
    0001 is 11011.
    """
    for value, word in enumerate(words("tape")):
        a, b, c, d = f"{value:04b}"
        if c + d == "00":
            assert word == words("tape")[value | 3][::-1]
        elif value == 1:
            assert word == "11011"
        else:
            assert word == ("1" if a == "0" else "0") + a + b + c + d


@pytest.mark.parametrize("table", TABLES)
def test_words_are_all_different(table):
    assert len(set(words(table))) == 16


@given(st.sampled_from(sorted(TABLES)), st.integers(0, 2**32 - 1))
def test_no_run_is_longer_than_the_table_promises(table, seed):
    """Cells without a change in a row: three at most (4B/5B), two (the code (0,2))."""
    bits = np.random.default_rng(seed).integers(0, 2, 800).astype(np.uint8)
    cells = "".join(map(str, Group(table=table).changes(bits)))
    assert max(map(len, cells.split("1"))) <= {"fddi": 3, "tape": 2}[table]


@pytest.mark.parametrize("table", TABLES)
def test_the_longest_runs_occur(table):
    everything = [a + b for a in words(table) for b in words(table)]
    assert max(len(run) for pair in everything for run in pair.split("1")) == {"fddi": 3, "tape": 2}[table]


@pytest.mark.parametrize("table", TABLES)
def test_the_trellis_is_the_table(table):
    trellis = Group(table=table).trellis
    seen = set()
    for source, target, levels, bits in zip(
        trellis.sources, trellis.targets, trellis.levels, trellis.bits, strict=True
    ):
        before = 2.0 * source - 1
        changes = "".join("1" if now != then else "0" for then, now in zip([before, *levels[:-1]], levels, strict=True))
        assert changes == words(table)[int("".join(map(str, bits)), 2)]
        assert target == (levels[-1] > 0)
        seen.add((source, changes))
    assert len(seen) == 32
