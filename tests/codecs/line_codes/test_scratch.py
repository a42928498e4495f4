"""Scratch memory: rows that lie apart, kept by each thread for the next time, however deep it is asked for."""

import threading

import numpy as np
import pytest
from tapewright.codecs.line_codes import scratch as kept
from tapewright.codecs.line_codes.scratch import MOST_BYTES, scratch


def address(row):
    return row.__array_interface__["data"][0]


def test_rows_lie_apart_also_inside_each_other():
    for _ in range(2):
        with scratch(5, 7) as (one, other):
            one[:], other[:] = 1, 2
            with scratch(1000) as (inner,):
                inner[:] = 3
            assert (one == 1).all()
            assert (other == 2).all()
            assert not any(np.shares_memory(row, inner) for row in (one, other))


def test_a_thread_gets_the_same_memory_again():
    with scratch(1 << 16), scratch(1 << 16):
        pass
    found = []
    for _ in range(2):
        with scratch(1 << 16) as (outer,), scratch(1 << 16) as (inner,):
            found.append((address(outer), address(inner)))
    assert found[0] == found[1]


def test_threads_never_share():
    with scratch(100) as (here,):
        there = []

        def take():
            with scratch(100) as (row,):
                there.append(np.shares_memory(here, row))

        thread = threading.Thread(target=take)
        thread.start()
        thread.join()
    assert there == [False]


def test_what_is_too_much_is_given_but_not_kept():
    with scratch(MOST_BYTES) as (large,), scratch(MOST_BYTES) as (other,):
        assert large.size == other.size == MOST_BYTES
        assert not np.shares_memory(large, other)
    assert 4 * kept._kept.store.size <= MOST_BYTES


def test_an_error_gives_the_memory_back():
    with pytest.raises(ValueError, match="told"), scratch(10):
        raise ValueError("told")
    assert kept._kept.used == 0
