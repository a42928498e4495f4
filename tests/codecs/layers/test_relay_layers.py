"""Layers that contacts can decode: what each catches, what passes it, and what it costs."""

from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tapewright.codecs.layers.ones_count import OnesCount
from tapewright.codecs.layers.parity import Parity
from tapewright.codecs.layers.vote import Vote
from tapewright.contracts.bits import from_bytes, to_bytes
from tapewright.contracts.codec import Codec
from tapewright.contracts.layer import Heard, Layer
from tapewright.contracts.registry import codec, receiver
from tapewright.contracts.relay_cost import obstacle, relay_cost
from tapewright.contracts.soft_bits import CERTAIN, LOST, SoftBits
from tapewright.receivers.relays.parts import parts
from tapewright.receivers.relays.relay_set import load_set
from tapewright.receivers.relays.table import load_table

LAYERS = (Parity(), Parity(kind="even", stop=False), Vote(), Vote(word_bits=9), OnesCount(), OnesCount(31, 8))


def heard_as(coded, confidence=3.0):
    return SoftBits(np.where(coded > 0, confidence, -confidence), 0.5 + 0.001 * np.arange(coded.size))


@pytest.mark.parametrize("layer", LAYERS, ids=str)
@given(payload=st.binary(max_size=70))
def test_round_trips_and_vouches_for_nothing(layer, payload):
    bits = from_bytes(payload)
    coded = layer.encode(bits)
    assert coded.size == layer.coded_bits(bits.size)
    heard = layer.decode((heard_as(coded),))
    assert heard.verdict is None
    assert heard.events == ()
    assert np.array_equal(heard.passes[0].bits[: bits.size], bits)


@pytest.mark.parametrize(
    ("kind", "parity"), [("odd", {0x41: 1, 0x43: 0, 0x00: 1, 0xFF: 1}), ("even", {0x41: 0, 0x43: 1})]
)
def test_parity_bits_written_out_by_hand(kind, parity):
    """A is two ones, C three."""
    for byte, bit in parity.items():
        assert Parity(kind=kind).encode(from_bytes(bytes([byte]))).tolist() == [*from_bytes(bytes([byte])), bit]


@given(payload=st.binary(min_size=1, max_size=40), seed=st.integers(0, 2**32 - 1), stop=st.booleans())
def test_parity_alarms_at_the_first_byte_with_an_odd_number_of_wrong_bits(payload, seed, stop):
    rng = np.random.default_rng(seed)
    layer = Parity(stop=stop)
    wrong = rng.random((len(payload), 9)) < 0.05
    coded = (layer.encode(from_bytes(payload)).reshape(-1, 9) ^ wrong).astype(np.uint8).ravel()
    heard = layer.decode((heard_as(coded),))
    bad = np.flatnonzero(wrong.sum(axis=1) % 2)
    assert (heard.verdict is False) == (bad.size > 0)
    values = heard.passes[0].values.reshape(-1, 8)
    lost = np.flatnonzero((np.abs(values) <= LOST).any(axis=1)).tolist()
    assert np.array_equal(heard.passes[0].bits.reshape(-1, 8), coded.reshape(-1, 9)[:, :8])
    if bad.size and stop:
        assert lost == list(range(int(bad[0]), len(payload)))
        assert [event.what for event in heard.events] == [f"parity: alarm at byte {bad[0]}, stopped"]
        assert heard.events[0].time_s == pytest.approx(0.5 + 0.009 * bad[0])
    else:
        assert lost == bad.tolist()
        assert len(heard.events) == bad.size


def test_silence_raises_the_alarm_of_odd_parity_alone():
    silence = SoftBits.certain(np.zeros(27, np.uint8))
    assert Parity().decode((silence,)).verdict is False
    assert Parity(kind="even").decode((silence,)).verdict is None


def test_two_plays_condemn_only_together():
    coded = Parity().encode(from_bytes(b"noon"))
    hurt = coded.copy()
    hurt[3] ^= 1
    assert Parity().decode((heard_as(coded, 3.0), heard_as(hurt, 1.0))).verdict is None
    assert Parity().decode((heard_as(hurt), heard_as(hurt[:-9]))).verdict is False
    assert Parity().decode((heard_as(hurt), heard_as(coded[:-9]))).verdict is None


def test_two_of_three_decide_whatever_the_eight_patterns():
    """Bit k of the byte has the pattern of copies k: the majority by hand."""
    copies = np.array([[int(bit) for bit in f"{pattern:03b}"] for pattern in range(8)], np.uint8).T
    heard = Vote().decode((heard_as(copies.ravel(), CERTAIN),))
    assert heard.passes[0].bits.tolist() == [0, 0, 0, 1, 0, 1, 1, 1]
    assert [event.what for event in heard.events] == ["vote: the copies of byte 0 differ"]


def test_a_vote_fails_as_often_as_its_formula_says():
    """3p^2 - 2p^3 = 2.8e-2 at p = 0.1 (binomial). Null: that rate; seed 1, 80,000 bits: s.e. 5.8e-4, 5 of them."""
    rng = np.random.default_rng(1)
    bits = rng.integers(0, 2, 80_000).astype(np.uint8)
    coded = Vote().encode(bits)
    hurt = coded ^ (rng.random(coded.size) < 0.1)
    heard = Vote().decode((heard_as(hurt.astype(np.uint8)),))
    assert np.mean(heard.passes[0].bits != bits) == pytest.approx(2.8e-2, abs=2.9e-3)


def test_a_vote_weighs_what_was_heard():
    """One sure copy against two that heard next to nothing, and one that heard nothing at all."""
    values = np.zeros((3, 8))
    values[0] = 5.0
    values[1:, :4] = -0.05
    assert Vote().decode((SoftBits(values.ravel()),)).passes[0].values.tolist() == pytest.approx([4.9] * 4 + [5.0] * 4)


def test_the_count_is_bergers_code():
    """Berger (1961; from memory): three bits of data get the number of their zeros, 000 11, 001 10, 011 01, 111 00.

    With 2^w - 1 bits of data the complement of the number of ones is that number; with fewer the rest counts too.
    """
    for data in (b"\x00", b"\x01", b"\x1f", b"\xff"):
        coded = OnesCount(count_bits=8).encode(from_bytes(data))
        assert to_bytes(coded) == data + bytes([255 - data[0].bit_count()])
        assert coded[8:].dot(1 << np.arange(8)[::-1]) == (8 - data[0].bit_count()) + (255 - 8)


@given(
    payload=st.binary(min_size=1, max_size=70),
    seed=st.integers(0, 2**32 - 1),
    share=st.floats(0.001, 1.0),
    fallen=st.booleans(),
    layer=st.sampled_from([OnesCount(), OnesCount(31, 8), OnesCount(7, 16)]),
)
def test_errors_that_all_go_one_way_are_noticed(payload, seed, share, fallen, layer):
    rng = np.random.default_rng(seed)
    coded = layer.encode(from_bytes(payload))
    hit = rng.random(coded.size) < share
    hurt = np.where(hit, 0 if fallen else 1, coded).astype(np.uint8)
    heard = layer.decode((heard_as(hurt),))
    assert (heard.verdict is False) == (not np.array_equal(hurt, coded))


def test_as_many_ones_lost_as_gained_pass_the_count():
    coded = OnesCount().encode(from_bytes(b"\x0f\x0f"))
    coded[[0, 4]] ^= 1
    heard = OnesCount().decode((heard_as(coded),))
    assert heard.verdict is None
    assert to_bytes(heard.passes[0].bits) == b"\x87\x0f"


def test_the_bad_block_is_named():
    layer = OnesCount(block_bytes=31, count_bits=8)
    coded = layer.encode(from_bytes(bytes(range(100))))
    coded[32 * 8 * 2 + 5] ^= 1
    heard = layer.decode((heard_as(coded),))
    assert heard.verdict is False
    assert [event.what for event in heard.events] == ["ones_count: block 2 holds another number of ones"]
    assert heard.events[0].time_s == pytest.approx(0.5 + 0.001 * 32 * 8 * 2)


def test_a_few_bits_too_many_do_not_hurt_the_count():
    coded = OnesCount().encode(from_bytes(b"bell"))
    heard = OnesCount().decode((heard_as(np.append(coded, [1, 0, 1]).astype(np.uint8)),))
    assert (heard.verdict, to_bytes(heard.passes[0].bits)) == (None, b"bell")


@pytest.mark.parametrize("layer", [OnesCount(), OnesCount(31, 8)])
def test_what_is_too_short_for_a_count_is_condemned(layer):
    heard = layer.decode((SoftBits.certain([1, 0, 1]),))
    assert (heard.verdict, len(heard.passes[0])) == (False, 0)


def test_a_following_machine_costs_what_its_parts_list_counts():
    """The relay receiver counts the same machine by its wiring; relays of four poles need not be doubled."""
    cost = relay_cost(codec("clocked"))
    found = parts(load_set("plug_in_12v"), load_table("clock_tower"), codec("clocked").line_code.keying())
    following = ("clock input", "data input", "step", "arm", "bit latch", "reset mark")
    assert cost.relays == sum(entry.count for entry in found.relays if entry.purpose in following) == 35
    assert (cost.steps_a_group, cost.filters) == (12, 0)


@pytest.mark.parametrize(
    ("spec", "relays", "steps", "filters", "seconds"),
    [
        ("clocked", 2 + 24 + 8 + 1, 12, 0, 0.744),
        ("dual_rail", 2 + 24 + 8 + 1, 12, 0, 0.624),
        ("two_tone_rails", 4 + 16 + 8 + 1, 8, 2, 0.424),
        ("dual_rail:reset_mark=false,extra_steps=0", 2 + 16 + 8, 8, 0, 0.4),
        ("parity/clocked:group_bits=9", 1 + 2 + 26 + 9 + 1, 13, 0, 0.804),
        ("vote/clocked:group_bits=24", 2 + 56 + 24 + 1, 28, 0, 1.704),
        ("ones_count:count_bits=8/dual_rail", 16 + 1 + 35, 12, 0, 0.624),
    ],
)
def test_costs_counted_by_hand(spec, relays, steps, filters, seconds):
    stack = codec(spec)
    cost = relay_cost(stack)
    assert (cost.relays, cost.steps_a_group, cost.filters) == (relays, steps, filters)
    assert stack.duration_s(20) - stack.duration_s(19) == pytest.approx(seconds)
    # An alarm relay is fed by reset marks besides.
    assert len(cost.catches) == len(cost.misses) == len(stack.layers) + ("parity" in spec)


@pytest.mark.parametrize(
    ("spec", "said"),
    [
        ("parity/clocked", "'clocked' has group_bits=8, and the layers above it send 9 bits with each byte"),
        ("parity/vote:word_bits=9/dual_rail:group_bits=9", "send 27 bits with each byte"),
        ("crc/clocked", "'crc' needs a microcontroller"),
        ("parity/biphase", "'biphase' needs a microcontroller"),
    ],
)
def test_what_stands_against_relays_is_said(spec, said):
    assert said in obstacle(codec(spec))
    assert said in receiver("relays").refusal(codec(spec))
    assert relay_cost(codec(spec)) is None


def test_a_layer_that_says_nothing_of_relays_is_not_for_them():
    @dataclass(frozen=True)
    class Plain(Layer):
        name = "plain"
        needs = "relays"

        def encode(self, bits):
            return bits

        def decode(self, passes):
            return Heard(passes)

        def coded_bits(self, data_bits):
            return data_bits

    stack = Codec((Plain(),), codec("clocked").line_code)
    assert obstacle(stack) == "'plain' does not say what relays must do for it"
    assert relay_cost(stack) is None


@pytest.mark.parametrize(
    "spec",
    [
        "parity/clocked:group_bits=9",
        "parity/two_tone_rails:group_bits=9,bit_order=lsb",
        "vote/dual_rail:group_bits=24",
        "parity/vote:word_bits=9/dual_rail:group_bits=27",
        "ones_count:block_bytes=4,count_bits=8/dual_rail",
    ],
)
def test_stacks_round_trip_through_sound(spec):
    stack = codec(spec)
    decoded = stack.decode(stack.encode(b"Noon: 12", 16_000))
    assert (decoded.payload, decoded.intact, decoded.lost) == (b"Noon: 12", None, ())
