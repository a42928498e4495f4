"""The layers of the ready stacks together, on soft bits: no sound is made here."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tapewright.codecs.ready import PLAIN_BIPHASE, STURDY
from tapewright.contracts.bits import from_bytes, to_bytes
from tapewright.contracts.registry import installed
from tapewright.contracts.soft_bits import SoftBits
from tapewright.contracts.spec import parse_stack

stacks = pytest.mark.parametrize("preset", [PLAIN_BIPHASE, STURDY], ids=lambda preset: preset.name)


def layers_of(preset):
    return installed("codec").build(parse_stack(preset.spec)[:-1])


def on_the_tape(preset, payload):
    bits = from_bytes(payload)
    for layer in layers_of(preset):
        bits = layer.encode(bits)
    return np.where(bits, 4.0, -4.0)


def loaded(preset, *streams):
    passes, verdict = tuple(SoftBits(stream) for stream in streams), None
    for layer in reversed(layers_of(preset)):
        heard = layer.decode(passes)
        passes, verdict = heard.passes, heard.verdict
    return to_bytes(passes[0].bits), verdict


@stacks
@pytest.mark.parametrize("length", [0, 1, 128, 1000, 16_384])
def test_payload_round_trips(preset, length):
    payload = np.random.default_rng(length).bytes(length)
    assert loaded(preset, on_the_tape(preset, payload)) == (payload, True)


@stacks
def test_silence_and_noise_are_not_intact(preset):
    rng = np.random.default_rng(60)
    for stream in (np.zeros(0), np.zeros(9000), rng.normal(size=9000), np.ones(9000)):
        assert loaded(preset, stream)[1] is False


@stacks
@given(st.integers(0, 2**32 - 1), st.sampled_from([1e-4, 3e-3, 2e-2]))
def test_intact_never_lies(preset, seed, rate):
    rng = np.random.default_rng(seed)
    payload = rng.bytes(200)
    stream = on_the_tape(preset, payload)
    stream = stream * np.where(rng.random(stream.size) < rate, -1, 1)
    at = int(rng.integers(stream.size))
    stream[at : at + int(rng.integers(400))] = 0
    if rng.random() < 0.5:
        stream = np.delete(stream, at)
    heard, intact = loaded(preset, stream)
    assert intact is False or heard == payload


@pytest.mark.parametrize(("length", "lost"), [(1500, 1), (4096, 2)])
def test_sturdy_lives_through_the_loss_of_any_blocks(length, lost):
    payload = np.random.default_rng(length).bytes(length)
    stream = on_the_tape(STURDY, payload)
    frame = layers_of(STURDY)[-1]
    pitch = frame.blocks.pitch
    for first in range(0, stream.size, pitch):
        damaged = stream.copy()
        damaged[first : first + lost * pitch] = 0
        assert loaded(STURDY, damaged) == (payload, True)


def test_sturdy_lives_through_a_burst_at_every_place():
    # A dropout of 400 bits, a third of a second at 1,200 bit/s, every 211 bits along a program of 1,500 bytes.
    payload = np.random.default_rng(61).bytes(1500)
    stream = on_the_tape(STURDY, payload)
    for first in range(0, stream.size, 211):
        damaged = stream.copy()
        damaged[first : first + 400] = 0
        assert loaded(STURDY, damaged) == (payload, True)


def test_sturdy_restores_polarity():
    payload = bytes(range(200))
    assert loaded(STURDY, -on_the_tape(STURDY, payload)) == (payload, True)


def test_sturdy_puts_two_bad_plays_together():
    rng = np.random.default_rng(62)
    payload = rng.bytes(600)
    stream = on_the_tape(STURDY, payload)
    first, second = stream.copy(), stream.copy()
    first[: stream.size // 2] = rng.normal(size=stream.size // 2)
    second[stream.size // 2 :] = rng.normal(size=stream.size - stream.size // 2)
    assert loaded(STURDY, first)[1] is False
    assert loaded(STURDY, second)[1] is False
    assert loaded(STURDY, first, second) == (payload, True)


def test_a_damaged_payload_of_a_plain_stack_is_handed_on_and_named():
    payload = bytes(range(100))
    stream = on_the_tape(PLAIN_BIPHASE, payload)
    stream[8 * 9 + 8 * 50] *= -1
    heard, intact = loaded(PLAIN_BIPHASE, stream)
    assert intact is False
    assert [place for place in range(100) if heard[place] != payload[place]] == [50]
