"""The stack: how layers and line code are put together, and what is made of their verdicts, events and doubts."""

from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tapewright.contracts import bits as bytes_and_bits
from tapewright.contracts.codec import MOST_PAYLOAD_BYTES, Codec
from tapewright.contracts.decoded import Decoded, Event
from tapewright.contracts.errors import UsageError, in_one_line
from tapewright.contracts.layer import Heard, Layer
from tapewright.contracts.line_code import LineCode
from tapewright.contracts.parameters import parameter
from tapewright.contracts.signal import Signal
from tapewright.contracts.soft_bits import CERTAIN, SoftBits


@dataclass(frozen=True)
class Plainest(LineCode):
    """One frame a bit."""

    name = "plainest"
    summary = "One frame a bit."
    needs = "relays"

    @property
    def tolerates(self):
        return frozenset({"swapped_tracks"})

    def modulate(self, bits, sample_rate_hz=44_100):
        return Signal(bits.astype(np.float32) - 0.5, sample_rate_hz)

    def demodulate(self, signal):
        times_s = np.arange(signal.frames) / signal.sample_rate_hz
        return SoftBits(signal.samples[0], times_s, (Event("needle moved", 0.0),))

    def duration_s(self, bits):
        return bits / 44_100


@dataclass(frozen=True)
class Framed(Layer):
    """Adds ``extra`` bits in front and says what it was told to say."""

    name = "framed"
    summary = "Bits in front."
    needs = "computer"
    restores = frozenset({"polarity"})

    extra: int = parameter(3, "How many.", low=0, high=9)
    says: str = parameter("none", "Its verdict.", choices=("true", "false", "none"))

    def encode(self, bits):
        return np.concatenate([np.zeros(self.extra, np.uint8), bits])

    def coded_bits(self, data_bits):
        return data_bits + self.extra

    def decode(self, passes):
        inner = tuple(SoftBits(one.values[self.extra :], one.times_s[self.extra :]) for one in passes)
        return Heard(inner, {"true": True, "false": False, "none": None}[self.says], (Event(f"framed {self.extra}"),))


@given(st.binary(max_size=40), st.lists(st.integers(0, 9), max_size=4))
def test_layers_are_undone_in_reverse(payload, extras):
    codec = Codec(tuple(Framed(extra) for extra in extras), Plainest())
    tape = codec.encode(payload)
    assert tape.frames == codec.coded_bits(len(payload)) == 8 * len(payload) + sum(extras)
    assert codec.duration_s(len(payload)) == tape.duration_s
    assert codec.decode(tape).payload == payload


@pytest.mark.parametrize(
    ("says", "intact"),
    [
        ([], None),
        (["none", "none"], None),
        (["true"], True),
        (["none", "true"], True),
        (["none", "false"], False),
        (["true", "false"], True),
        (["false", "true"], False),
        (["false", "true", "none"], False),
    ],
)
def test_the_outermost_layer_that_checks_has_the_verdict(says, intact):
    codec = Codec(tuple(Framed(2, one) for one in says), Plainest())
    assert codec.decode(codec.encode(b"noon")).intact is intact


def test_events_are_told_from_the_tape_upwards():
    codec = Codec((Framed(1), Framed(2)), Plainest())
    told = [event.what for event in codec.decode(codec.encode(b"x")).events]
    assert told == ["needle moved", "framed 2", "framed 1"]


def test_a_byte_with_an_unknown_bit_is_lost_and_kept_as_its_best_guess():
    samples = np.where(bytes_and_bits.from_bytes(b"\xa5\x5a\xff") > 0, 0.5, -0.5)
    samples[3] = 0.0
    samples[16] = 0.1
    samples[23] = 0.11
    decoded = Codec((), Plainest()).decode(Signal(samples, 8_000))
    assert decoded.lost == (0, 2)
    assert decoded.payload == b"\xa5\x5a\xff"


def test_a_broken_last_byte_is_left_out_and_each_byte_has_its_time():
    decoded = Codec((), Plainest()).decode(Signal(np.full(13, 0.5), 1_000))
    assert decoded.payload == b"\xff"
    assert decoded.times_s == pytest.approx((0.0035,))


def test_plays_of_one_length_are_summed_by_confidence():
    loud, faint = Signal(np.full(8, 0.5), 8_000), Signal(np.full(8, -0.3), 8_000)
    assert Codec((), Plainest()).decode(faint, loud).payload == b"\xff"
    assert Codec((), Plainest()).decode(faint, faint, loud).payload == b"\x00"


def test_of_plays_of_uneven_length_the_one_that_heard_most_counts():
    long, short = Signal(np.full(16, 0.4), 8_000), Signal(np.full(8, -0.5), 8_000)
    assert Codec((), Plainest()).decode(short, long).payload == b"\xff\xff"


def test_no_play_and_an_empty_play_give_an_empty_payload():
    for plays in ((), (Signal(np.zeros((2, 0)), 8_000),)):
        decoded = Codec((Framed(3),), Plainest()).decode(*plays)
        assert (decoded.payload, decoded.intact, decoded.lost, decoded.times_s) == (b"", None, (), ())


def test_plays_of_boundless_confidence_are_summed_too():
    @dataclass(frozen=True)
    class Shouting(Layer):
        name = "shouting"
        summary = "Is as sure as float32 allows."

        def encode(self, bits):
            return bits

        def coded_bits(self, data_bits):
            return data_bits

        def decode(self, passes):
            return Heard(tuple(SoftBits(np.sign(one.values) * np.float32(3e38)) for one in passes))

    codec = Codec((Shouting(),), Plainest())
    tape = codec.encode(b"noon")
    assert codec.decode(tape, tape).payload == b"noon"


def test_a_stack_needs_what_its_most_demanding_member_needs():
    assert Codec((), Plainest()).needs == "relays"
    assert Codec((Framed(),), Plainest()).needs == "computer"


def test_a_stack_tolerates_what_any_member_restores():
    assert Codec((), Plainest()).tolerates == {"swapped_tracks"}
    assert Codec((Framed(),), Plainest()).tolerates == {"swapped_tracks", "polarity"}


def test_the_spec_writes_out_every_default():
    assert str(Codec((Framed(), Framed(1, "true")), Plainest())) == (
        'framed:extra=3,says=none/framed:extra=1,says="true"/plainest'
    )


def test_a_payload_has_a_bound():
    with pytest.raises(UsageError) as caught:
        Codec((), Plainest()).encode(bytes(MOST_PAYLOAD_BYTES + 1))
    assert str(caught.value) == "Argument 'payload' must be at most 1048576 bytes, not 1048577."


@pytest.mark.parametrize("rate", [0, -44_100, 999, 10**9, 44_100.5, "fast", None, np.nan])
def test_the_rate_is_looked_at_before_anything_is_made(rate):
    @dataclass(frozen=True)
    class Eager(Plainest):
        def modulate(self, bits, sample_rate_hz=44_100):
            raise AssertionError("modulated")

    with pytest.raises(UsageError, match="Argument 'sample_rate_hz' must be"):
        Codec((), Eager()).encode(b"x", rate)


@given(st.binary(max_size=64), st.integers(0, 7))
def test_bytes_and_bits_are_one_thing(data, extra):
    bits = bytes_and_bits.from_bytes(data)
    assert bits.size == 8 * len(data)
    assert bytes_and_bits.to_bytes(np.concatenate([bits, np.ones(extra, np.uint8)])) == data


def test_the_most_significant_bit_comes_first():
    assert bytes_and_bits.from_bytes(b"\x80\x01").tolist() == [1] + [0] * 14 + [1]


def test_an_event_shows_its_time_where_it_has_one():
    assert str(Event("hum")) == "hum"
    assert str(Event("hum", 12.3456)) == "   12.346 s  hum"
    assert Decoded(b"", None) == Decoded(b"", None, (), (), ())


@given(st.text(max_size=400), st.integers(1, 300))
def test_a_message_is_one_line_of_bounded_length(text, longest):
    shown = in_one_line(text, longest)
    assert shown.isprintable()
    assert len(shown) <= longest


def test_a_message_says_that_it_was_cut():
    assert in_one_line("abcdef", 4) == "abc…"
    assert in_one_line("a\tb\u2028c\ud800") == "a b c?"


def test_certain_is_far_from_lost():
    assert SoftBits.certain([1]).values[0] == CERTAIN
