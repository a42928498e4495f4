"""`frame`: its layout, and what it does with whole, shifted, inverted and adversarial streams."""

import binascii
import struct
import zlib

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tapewright.codecs.layers.frame import Frame
from tapewright.contracts.bits import from_bytes, to_bytes
from tapewright.contracts.errors import UsageError
from tapewright.contracts.soft_bits import CERTAIN, SoftBits


def soft(bits, level=3.0):
    return np.where(bits, level, -level)


def heard_by(layer, *streams):
    return layer.decode(tuple(SoftBits(stream, np.arange(len(stream)) / 1000) for stream in streams))


def some_bits(length, seed=0):
    return np.random.default_rng(seed).integers(0, 2, length, dtype=np.uint8)


def test_layout_is_as_documented():
    # Written down a second time, with Python's own CRCs.
    data = bytes(range(10))
    coded = Frame(block_bytes=8, body_check="crc-16").encode(from_bytes(data))
    expected = b""
    for number, body in enumerate((data[:8], data[8:])):
        header = struct.pack(">HI", number, 80)
        expected += b"\xaa\xaa" + bytes.fromhex("1acffc1d") + header
        expected += struct.pack(">H", binascii.crc_hqx(header, 0xFFFF)) + body
        expected += struct.pack(">H", binascii.crc_hqx(header + body, 0xFFFF))
    assert to_bytes(coded) == expected


def test_the_32_bit_check_is_the_unreflected_one():
    body = b"hour"
    coded = to_bytes(Frame(body_check="crc-32").encode(from_bytes(body)))
    mirrored = bytes(int(f"{byte:08b}"[::-1], 2) for byte in struct.pack(">HI", 0, 32) + body)
    assert int(f"{int.from_bytes(coded[-4:], 'big'):032b}"[::-1], 2) == zlib.crc32(mirrored)


def test_the_sync_word_is_sharp():
    # CCSDS 131.0-B: the attached sync marker is 1ACFFC1D. Shifted against itself after the preamble, it agrees in few
    # places; false locks need at least 32 - 2 * 4 = 24.
    layer = Frame()
    stream = soft(layer.encode(some_bits(0))[: 16 + 32], 1.0)
    agreement = np.correlate(stream, stream[16:], "valid")
    assert agreement[-1] == 32
    assert np.abs(agreement[:-1]).max() < 24 - 8


@given(
    st.integers(0, 3000),
    st.integers(1, 300),
    st.integers(0, 40),
    st.sampled_from(["crc-16", "crc-32", "none"]),
    st.sampled_from(["1acffc1d", "2d0", "faf320"]).filter(lambda word: len(word) > 3),
)
def test_round_trips(length, block_bytes, preamble_bits, body_check, sync_word):
    layer = Frame(block_bytes=block_bytes, preamble_bits=preamble_bits, body_check=body_check, sync_word=sync_word)
    bits = some_bits(length, length)
    coded = layer.encode(bits)
    assert coded.size == layer.coded_bits(length)
    heard = heard_by(layer, soft(coded))
    assert heard.verdict is (None if body_check == "none" else True)
    assert len(heard.passes) == 1
    assert np.array_equal(heard.passes[0].bits, bits)
    assert heard.events == ()
    if body_check != "none":
        assert np.all(np.abs(heard.passes[0].values) == CERTAIN)


def test_an_inverted_stream_between_noise_comes_out_upright():
    layer, bits, rng = Frame(), some_bits(3000), np.random.default_rng(1)
    coded = soft(layer.encode(bits))
    heard = heard_by(layer, np.concatenate([rng.normal(size=777), -coded, rng.normal(size=888)]))
    assert heard.verdict is True
    assert np.array_equal(heard.passes[0].bits, bits)
    assert heard.passes[0].times_s[0] == pytest.approx((777 + 16 + 32 + 64) / 1000)
    assert [event.what for event in heard.events] == ["frame: polarity was inverted and is restored"]


def test_polarity_that_flips_on_the_way_is_followed():
    layer, bits = Frame(), some_bits(8 * 128 * 6)
    coded = soft(layer.encode(bits))
    coded[2 * 1168 :] *= -1
    heard = heard_by(layer, coded)
    assert heard.verdict is True
    assert np.array_equal(heard.passes[0].bits, bits)


@pytest.mark.parametrize("slips", [(1200,), (1200, 1201), (1200, 3510, 4700), (2336 + 3, 2336 + 9)])
def test_slips_in_a_preamble_cost_nothing(slips):
    # Blocks start every 16 + 32 + 64 + 1024 + 16 = 1152 bits.
    layer, bits = Frame(), some_bits(8 * 128 * 6)
    places = [1152 * (place // 1152) + place % 14 for place in slips]
    lost = np.delete(soft(layer.encode(bits)), places)
    gained = np.insert(soft(layer.encode(bits)), places, 1.0)
    for stream in (lost, gained):
        heard = heard_by(layer, stream)
        assert heard.verdict is True
        assert np.array_equal(heard.passes[0].bits, bits)


@pytest.mark.parametrize("slip", [-9, -1, 1, 2, 30])
def test_a_slip_within_a_body_costs_only_the_bits_around_it(slip):
    # The clock slips in a dropout of 40 bits in the third block.
    layer, bits = Frame(), some_bits(8 * 128 * 6)
    coded = soft(layer.encode(bits))
    at = 2 * 1152 + 112 + 300
    coded[at : at + 40] *= 0.01
    if slip < 0:
        stream = np.delete(coded, np.arange(at + 15, at + 15 - slip))
    else:
        stream = np.insert(coded, at + 15, np.full(slip, 0.02))
    heard = heard_by(layer, stream)
    wrong = np.flatnonzero(heard.passes[0].bits != bits)
    confident = np.abs(heard.passes[0].values) > 0.1
    assert heard.verdict is (wrong.size == 0)  # bits that were gained can be cut out exactly
    assert slip > 0 or heard.verdict is False
    assert np.all((wrong >= 2 * 1024 + 300) & (wrong < 2 * 1024 + 340))
    assert not confident[wrong].any()
    assert np.array_equal(heard.passes[0].bits[confident], bits[confident])


def test_sync_words_in_the_data_are_not_taken_for_the_frames_own():
    layer = Frame(block_bytes=64)
    for data in (
        bytes.fromhex("1acffc1d") * 300,
        bytes.fromhex("e53003e2") * 300,
        bytes.fromhex("aaaa1acffc1d") * 200,
        b"\x55" * 3 + bytes.fromhex("1acffc1d") * 299,
    ):
        heard = heard_by(layer, soft(layer.encode(from_bytes(data))))
        assert heard.verdict is True
        assert to_bytes(heard.passes[0].bits) == data


def test_a_frame_within_the_frame_is_handed_on_as_data():
    layer = Frame(block_bytes=64)
    inner = layer.encode(some_bits(8 * 2000, 7))
    for data in (inner, np.concatenate([inner, inner]), np.concatenate([some_bits(100), inner])):
        heard = heard_by(layer, soft(layer.encode(data)))
        assert heard.verdict is True
        assert np.array_equal(heard.passes[0].bits, data)


def test_a_whole_block_of_the_same_frame_as_data_changes_nothing():
    # The forged last block has the true total and a good check, and fits into a true body.
    layer = Frame(block_bytes=64)
    total = 8 * (64 * 5 + 4)
    forged = layer.blocks.block(5, total, from_bytes(b"\0\1\2\3"))
    bits = some_bits(total)
    bits[100 : 100 + forged.size] = forged
    coded = soft(layer.encode(bits))
    heard = heard_by(layer, coded)
    assert heard.verdict is True
    assert np.array_equal(heard.passes[0].bits, bits)


@pytest.mark.parametrize("body_check", ["crc-16", "crc-32", "none"])
def test_silence_and_noise_give_an_empty_pass_and_no(body_check):
    layer, rng = Frame(body_check=body_check), np.random.default_rng(2)
    for stream in (np.zeros(0), np.zeros(5000), np.ones(5000), rng.normal(size=95), rng.normal(size=20_000)):
        heard = heard_by(layer, stream)
        assert heard.verdict is False
        assert [len(one) for one in heard.passes] == [0]
        assert heard.events[0].what == "frame: no block was found"
    assert layer.decode(()).verdict is False


@given(st.integers(0, 2**32 - 1), st.lists(st.integers(0, 4000), max_size=3))
def test_decode_is_total(seed, lengths):
    rng = np.random.default_rng(seed)
    layer = Frame(
        block_bytes=int(rng.integers(1, 200)),
        preamble_bits=int(rng.integers(0, 30)),
        sync_word="5a3c",
        sync_errors_allowed=4,
    )
    stream = soft(layer.encode(rng.integers(0, 2, 1500, dtype=np.uint8)))
    passes = []
    for length in lengths:
        chosen = np.resize(np.roll(stream, int(rng.integers(stream.size))), length)
        noise = rng.normal(size=length, scale=float(rng.choice([0.1, 3.0, 30.0])))
        passes.append(SoftBits(chosen + noise))
    heard = layer.decode(tuple(passes))
    assert len(heard.passes) == 1
    assert heard.verdict in (True, False)


def test_a_header_that_announces_far_more_than_was_heard_is_not_believed():
    layer = Frame(block_bytes=4096)
    body = some_bits(8 * 4096)
    for share, believed in ((15, True), (17, False)):
        heard = heard_by(layer, soft(layer.blocks.block(0, share * (body.size + 128), body)))
        assert heard.verdict is False
        assert bool(len(heard.passes[0])) is believed


def test_a_header_that_names_a_block_that_cannot_be_is_no_header():
    blocks = Frame(block_bytes=1).blocks
    for number, total, possible in (
        (0, 0, True),
        (1, 0, False),
        (9, 80, True),
        (10, 80, False),
        (0, 8 * 65_537, False),
    ):
        header = np.packbits(blocks.header(number, total)).tobytes()
        assert blocks.read_header(header) == ((number, total) if possible else None)


@pytest.mark.parametrize(
    ("parameters", "said"),
    [
        ({"sync_word": "xyz1"}, "'sync_word' must be 4 to 16 hexadecimal digits, not 'xyz1'"),
        ({"sync_word": "1ac"}, "'sync_word' must be 4 to 16 hexadecimal digits"),
        ({"sync_word": "1acf", "sync_errors_allowed": 5}, "at most a quarter of the sync word's 16 bits, not 5"),
        ({"block_bytes": 0}, "'block_bytes' must be 1 to 4096 bytes, not 0"),
    ],
)
def test_parameters_that_make_no_frame_are_refused(parameters, said):
    with pytest.raises(UsageError, match=said):
        Frame(**parameters)


def test_data_for_too_many_blocks_is_refused():
    with pytest.raises(UsageError, match="65536 blocks of 1 bytes; 65537 bytes do not"):
        Frame(block_bytes=1).encode(np.zeros(8 * 65_537, np.uint8))


def test_data_that_need_more_blocks_than_can_be_numbered_are_refused_in_one_line():
    """A block number has 16 bits: 65,536 blocks."""
    layer = Frame(block_bytes=1)
    assert layer.encode(np.zeros(8 * 65_536, np.uint8)).size == layer.coded_bits(8 * 65_536)
    with pytest.raises(UsageError) as caught:
        layer.encode(np.zeros(8 * 65_537, np.uint8))
    assert str(caught.value) == "frame: data must fit into 65536 blocks of 1 bytes; 65537 bytes do not."
