"""Which sightings of sync words are taken for the frame's own."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from tapewright.codecs.layers.block_chain import chains
from tapewright.codecs.layers.sync_search import Sighting

PITCH, TOTAL = 1152, 50_000


def true_ones(numbers, start=16):
    return [Sighting(start + PITCH * n, 1, n, TOTAL, mended=False, sound=True) for n in numbers]


def chosen(*seen, total=TOTAL):
    return chains(sorted(seen, key=lambda one: one.place), PITCH)[total].links


def test_a_forged_last_block_in_a_body_does_not_end_the_chain():
    true = true_ones(range(10))
    forged = Sighting(true[3].place + 300, 1, 40, TOTAL, mended=False, sound=True)
    assert chosen(*true, forged) == tuple(true)


def test_a_forged_first_block_in_a_body_does_not_start_it():
    true = true_ones(range(3, 20))
    forged = Sighting(true[5].place + 300, 1, 0, TOTAL, mended=False, sound=True)
    assert chosen(*true, forged) == tuple(true)


def test_a_forged_block_where_one_is_missing_is_left_out():
    # Its number fits between its neighbours' and its place does not.
    true = true_ones([0, 1, 2, 3, 5, 6, 7])
    forged = Sighting(true[3].place + 300, 1, 4, TOTAL, mended=False, sound=False)
    assert chosen(*true, forged) == tuple(true)


def test_a_sighting_after_the_end_is_left_out():
    true = true_ones(range(5))
    late = Sighting(true[-1].place + 9 * PITCH + 77, 1, 30, TOTAL, mended=True, sound=False)
    assert chosen(*true, late) == tuple(true)


def test_sightings_of_another_total_are_kept_apart():
    true = true_ones(range(5))
    other = [replace(one, place=one.place + 100, total=999) for one in true]
    assert chosen(*true, *other) == tuple(true)
    assert chosen(*true, *other, total=999) == tuple(other)


@given(st.integers(0, 2**32 - 1))
def test_numbers_and_places_rise_whatever_was_seen(seed):
    rng = np.random.default_rng(seed)
    seen = [
        Sighting(int(place), 1, int(rng.integers(40)), TOTAL, bool(rng.integers(2)), bool(rng.integers(2)))
        for place in np.unique(rng.integers(0, 60_000, 50))
    ]
    links = chosen(*seen)
    assert all(earlier.number < later.number for earlier, later in pairwise(links))
    assert all(earlier.place < later.place for earlier, later in pairwise(links))


@given(st.integers(0, 2**32 - 1))
def test_slips_and_a_cut_in_the_tape_are_followed(seed):
    rng = np.random.default_rng(seed)
    slips = np.cumsum(rng.integers(-3, 4, 40) * (rng.random(40) < 0.2))
    true = [replace(one, place=one.place + int(slip)) for one, slip in zip(true_ones(range(40)), slips, strict=True)]
    cut = int(rng.integers(3, 37))
    after = [replace(one, place=one.place - 700) for one in true[cut:]]
    assert chosen(*true[:cut], *after) == (*true[:cut], *after)
