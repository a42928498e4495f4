import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tapewright.codecs.layers.interleave import Interleave
from tapewright.contracts.bits import from_bytes, to_bytes
from tapewright.contracts.soft_bits import SoftBits

lengths = st.integers(0, 600)
depths = st.integers(1, 700)


@given(lengths, depths, st.integers(0, 7), st.booleans())
def test_round_trips_for_any_length(whole_bytes, depth, more_bits, by_track):
    layer = Interleave(depth=depth, by_track=by_track)
    length = 8 * whole_bytes + more_bits
    bits = np.random.default_rng(length).integers(0, 2, length, dtype=np.uint8)
    coded = layer.encode(bits)
    assert coded.size == layer.coded_bits(length) == -(-length // 8) * 8
    heard = layer.decode((SoftBits.certain(coded),))
    assert np.array_equal(heard.passes[0].bits[:length], bits)
    assert heard.verdict is None


def test_writes_rows_and_sends_columns():
    # By hand: rows abcd, efg, hij (longer first), columns aeh bfi cgj d.
    coded = Interleave(depth=3).encode(from_bytes(b"abcdefghij"))
    assert to_bytes(coded) == b"aehbficgjd"


def test_each_place_keeps_its_time_and_confidence():
    layer = Interleave(depth=4)
    coded = layer.encode(from_bytes(bytes(range(100))))
    values = np.where(coded, 1.0, -1.0) * (1 + np.arange(coded.size))
    heard = layer.decode((SoftBits(values, np.arange(coded.size) / 10),))
    assert np.allclose(heard.passes[0].times_s * 10, np.abs(heard.passes[0].values) - 1)


@given(st.integers(1, 400), st.integers(1, 60), st.data())
def test_a_burst_is_shared_out_evenly(length, depth, data):
    burst = data.draw(st.integers(1, length))
    start = data.draw(st.integers(0, length - burst))
    layer = Interleave(depth=depth)
    values = np.ones(8 * length)
    values[8 * start : 8 * (start + burst)] = 0
    hit = layer.decode((SoftBits(values),)).passes[0].values[::8] == 0
    rows = np.array_split(hit, depth)
    assert int(hit.sum()) == burst
    assert max(int(row.sum()) for row in rows) <= -(-burst // depth)


def test_maps_each_pass():
    layer = Interleave(depth=2)
    passes = (SoftBits(np.ones(80)), SoftBits(np.ones(33)), SoftBits([]))
    assert [len(heard) for heard in layer.decode(passes).passes] == [80, 32, 0]


@pytest.mark.parametrize("depth", [1, 5000])
def test_nothing_to_do_changes_nothing(depth):
    bits = from_bytes(bytes(range(50)))
    assert np.array_equal(Interleave(depth=min(depth, 4096)).encode(bits), bits)


@given(st.integers(1, 300), depths, st.integers(0, 1))
def test_by_track_the_loss_of_a_track_is_that_of_every_second_byte(pairs, depth, track):
    # Even bits go left, odd bits right. Without it, half of every byte is lost.
    length = 2 * pairs
    values = np.ones(8 * length)
    values[track::2] = 0
    for by_track, bytes_hit in ((True, pairs), (False, length)):
        heard = Interleave(depth=depth, by_track=by_track).decode((SoftBits(values),)).passes[0]
        assert int((heard.values.reshape(-1, 8) == 0).any(axis=1).sum()) == bytes_hit


def test_by_track_sends_the_bits_of_two_bytes_in_turn():
    # By hand: f0 and 00 in turn are aa 00; the odd one out goes as it is.
    assert to_bytes(Interleave(depth=1, by_track=True).encode(from_bytes(b"\xf0\x00\x33"))) == b"\xaa\x00\x33"
