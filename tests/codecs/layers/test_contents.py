import struct
import zlib

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tapewright.codecs.layers.contents import Contents
from tapewright.contracts.bits import from_bytes, to_bytes
from tapewright.contracts.soft_bits import CERTAIN, SoftBits

LAYER = Contents()


def sent_by_hand(payload, version=1, length=None, check=None):
    """The layout written down a second time, with zlib's CRC-32."""
    covered = struct.pack(">BI", version, len(payload) if length is None else length)
    value = zlib.crc32(covered + payload) if check is None else check
    return covered + struct.pack(">I", value) + payload


def heard_as(data, **keywords):
    return LAYER.decode((SoftBits.certain(from_bytes(data), **keywords),))


@given(st.binary(max_size=300))
def test_payload_round_trips(payload):
    coded = LAYER.encode(from_bytes(payload))
    assert coded.size == LAYER.coded_bits(8 * len(payload))
    assert to_bytes(coded) == sent_by_hand(payload)
    heard = LAYER.decode((SoftBits(np.where(coded, 0.3, -0.3)),))
    assert heard.verdict is True
    assert to_bytes(heard.passes[0].bits) == payload
    assert np.all(np.abs(heard.passes[0].values) == CERTAIN)


def test_bits_that_are_no_whole_bytes_come_first():
    bits = np.array([1, 0, 1], np.uint8)
    coded = LAYER.encode(bits)
    assert coded.size == LAYER.coded_bits(3)
    assert LAYER.decode((SoftBits.certain(coded),)).passes[0].bits[:3].tolist() == [1, 0, 1]


def test_what_follows_the_payload_is_ignored():
    heard = heard_as(sent_by_hand(b"twelve strokes") + b"and then hiss")
    assert heard.verdict is True
    assert to_bytes(heard.passes[0].bits) == b"twelve strokes"


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "only 0 of the header's 9 bytes"),
        (sent_by_hand(b"")[:8], "only 8 of the header's 9 bytes"),
        (sent_by_hand(b"quarter", version=2), "format version 2 is not known"),
        (sent_by_hand(b"quarter", version=0), "format version 0 is not known"),
        (sent_by_hand(b"quarter", length=8), "8 bytes are announced and 7 were heard"),
        (sent_by_hand(b"quarter", length=2**32 - 1), "4294967295 bytes are announced and 7 were heard"),
        (sent_by_hand(b"quarter", check=0), "the check over 7 bytes does not match"),
        (bytes(100), "format version 0"),
    ],
)
def test_a_fault_is_said_and_never_called_intact(data, said):
    heard = heard_as(data)
    assert heard.verdict is False
    assert said in heard.events[0].what
    assert len(heard.passes) == 1


def test_a_damaged_payload_is_handed_on_in_its_length():
    data = bytearray(sent_by_hand(b"half past seven") + b"surplus")
    data[12] ^= 4
    heard = heard_as(bytes(data))
    assert heard.verdict is False
    assert to_bytes(heard.passes[0].bits)[:3] == b"hal"
    assert len(heard.passes[0]) == 8 * 15


def test_no_pass_at_all_is_a_verdict_too():
    heard = LAYER.decode(())
    assert heard.verdict is False
    assert len(heard.passes[0]) == 0


def test_three_passes_damaged_elsewhere_are_added():
    payload = np.random.default_rng(5).bytes(64)
    clean = np.where(from_bytes(sent_by_hand(payload)), 2.0, -2.0)
    damaged = []
    for place in (0, 200, 400):
        values = clean.copy()
        values[place : place + 100] *= -0.5
        damaged.append(SoftBits(values))
    assert all(LAYER.decode((one,)).verdict is False for one in damaged)
    heard = LAYER.decode(tuple(damaged))
    assert heard.verdict is True
    assert to_bytes(heard.passes[0].bits) == payload


def test_passes_that_claim_endless_confidence_add_up():
    clean = np.where(from_bytes(sent_by_hand(b"noon")), 3e38, -3e38)
    first, second, third = clean.copy(), clean.copy(), clean.copy()
    first[80] *= -1
    second[90] *= -1
    third[100] *= -1
    assert LAYER.decode((SoftBits(first), SoftBits(second), SoftBits(third))).verdict is True


def test_passes_of_other_lengths_are_tried_one_by_one():
    good = SoftBits.certain(from_bytes(sent_by_hand(b"noon") + b"tail"))
    bad = SoftBits.certain(from_bytes(sent_by_hand(b"noon", check=1)))
    heard = LAYER.decode((bad, good))
    assert heard.verdict is True
    assert to_bytes(heard.passes[0].bits) == b"noon"


@given(st.integers(0, 2**32 - 1), st.integers(1, 60))
def test_intact_never_lies(seed, flips):
    rng = np.random.default_rng(seed)
    payload = rng.bytes(40)
    values = np.where(from_bytes(sent_by_hand(payload)), 1.0, -1.0)
    values[rng.choice(values.size, flips, replace=False)] *= -1
    heard = LAYER.decode((SoftBits(values),))
    # The flips may not touch what matters only if there are none: every bit is covered.
    assert heard.verdict is False


@given(st.integers(0, 2**32 - 1), st.lists(st.integers(0, 400), max_size=3))
def test_decode_is_total(seed, lengths):
    rng = np.random.default_rng(seed)
    heard = LAYER.decode(tuple(SoftBits(rng.normal(size=length)) for length in lengths))
    assert heard.verdict is False
    assert len(heard.passes) == 1


BOTH = Contents(copies=2)


def with_both_headers(payload):
    sent = sent_by_hand(payload)
    return sent + sent[:9]


def both_heard(data):
    heard = BOTH.decode((SoftBits.certain(from_bytes(data)),))
    return to_bytes(heard.passes[0].bits), heard.verdict


@given(st.binary(max_size=300), st.binary(max_size=20))
def test_a_second_header_stands_at_the_end(payload, after):
    coded = BOTH.encode(from_bytes(payload))
    assert coded.size == BOTH.coded_bits(8 * len(payload))
    assert to_bytes(coded) == with_both_headers(payload)
    assert both_heard(to_bytes(coded) + after) == (payload, True)


@given(st.binary(min_size=1, max_size=300), st.binary(min_size=9, max_size=9), st.binary(max_size=20))
def test_a_header_that_is_lost_is_made_good_from_the_end(payload, instead, after):
    data = instead + with_both_headers(payload)[9:] + after
    assert both_heard(data) == (payload, True)


@given(st.binary(max_size=300), st.binary(min_size=9, max_size=9))
def test_a_header_that_is_lost_at_the_end_is_not_missed(payload, instead):
    assert both_heard(sent_by_hand(payload) + instead) == (payload, True)


def test_payloads_that_look_like_headers_do_not_confuse():
    """Everywhere in the payload stands what would be a header there, all of them wrong but the one at the end."""
    payload = b"".join(struct.pack(">BII", 1, 9 * place, 0) for place in range(60))
    assert both_heard(bytes(9) + with_both_headers(payload)[9:]) == (payload, True)


@given(st.integers(0, 2**32 - 1))
def test_no_damage_passes_with_two_headers_either(seed):
    """One header is chosen, then checked once: a damaged payload of two sound headers is refused."""
    rng = np.random.default_rng(seed)
    payload = rng.bytes(100)
    data = bytearray(with_both_headers(payload))
    for place in rng.integers(0, len(data), 5):
        data[place] ^= int(rng.integers(1, 256))
    heard, verdict = both_heard(bytes(data))
    assert verdict is False or heard == payload
