"""The dropout that a stack says it bears is borne, wherever it falls; and the promise is not an empty one."""

import numpy as np
import pytest
import tapewright
from hypothesis import given
from hypothesis import strategies as st
from tapewright.contracts.bearable import NOTHING
from tapewright.contracts.bits import from_bytes
from tapewright.contracts.codec import Codec
from tapewright.contracts.signal import Signal
from tapewright.contracts.soft_bits import SoftBits


def bearable_bits(codec, payload_bytes):
    """What the layers promise to the line code."""
    bits, bearable = 8 * payload_bytes, NOTHING
    for layer in codec.layers:
        bearable = layer.bearable(bits, bearable)
        bits = layer.coded_bits(bits)
    return bearable.bits


def coded(codec, payload):
    bits = from_bytes(payload)
    for layer in codec.layers:
        bits = layer.encode(bits)
    return np.where(bits, 5.0, -5.0)


@given(
    st.integers(1, 3000),
    st.sampled_from([8, 32, 96]),
    st.sampled_from([40, 255]),
    st.integers(1, 120),
    st.sampled_from(["", "/frame:block_bytes=16", "/frame:block_bytes=64"]),
    st.booleans(),
    st.integers(0, 2**32 - 1),
)
def test_layers_bear_what_they_promise(length, parity, word, depth, frame, by_track, seed):
    rng = np.random.default_rng(seed)
    parity = min(parity, word - 1)
    interleave = f"interleave:depth={depth},by_track={str(by_track).lower()}"
    codec = tapewright.codec(f"contents/rs:parity_bytes={parity},word_bytes={word}/{interleave}{frame}/biphase")
    payload = rng.bytes(length)
    stream, burst = coded(codec, payload), bearable_bits(codec, length)
    assert burst < stream.size
    for start in {0, stream.size - burst, *rng.integers(0, stream.size - burst + 1, 3).tolist()}:
        hurt = stream.copy()
        hurt[start : start + burst] = 0
        decoded = codec.read((SoftBits(hurt, np.arange(hurt.size) / 1000),))
        assert (decoded.payload, decoded.intact) == (payload, True)


@pytest.mark.parametrize("name", ["steady-worn", "steady-attic", "sturdy"])
def test_the_promise_is_at_least_two_thirds_of_what_is_borne(name):
    """On soft bits of 4 KiB, the burst grown until some of ten places fails."""
    codec = tapewright.codec(name)
    payload = np.random.default_rng(1).bytes(4096)
    stream, promised = coded(codec, payload), bearable_bits(codec, 4096)
    assert promised > 0

    def borne(burst):
        for start in np.linspace(0, stream.size - burst, 10).astype(int):
            hurt = stream.copy()
            hurt[start : start + burst] = 0
            if codec.read((SoftBits(hurt, np.arange(hurt.size) / 1000),)).payload != payload:
                return False
        return True

    assert borne(promised)
    assert not borne(promised * 3 // 2 + codec.layers[-1].blocks.pitch)


def sweep(name, payload_bytes, starts_s):
    """Both tracks silent but for noise of 50 dB below full scale, for as long as the stack says, from each start."""
    codec = tapewright.codec(name)
    payload = np.random.default_rng(2).bytes(payload_bytes)
    tape = codec.encode(payload, 22_050)
    noisy = tape.samples + np.random.default_rng(3).normal(0, 0.003, tape.samples.shape).astype(np.float32)
    frames = int(codec.guaranteed_burst_ms(payload_bytes) * 22.05)
    for start_s in starts_s:
        silent = slice(int(start_s * 22_050), int(start_s * 22_050) + frames)
        hurt = noisy.copy()
        hurt[:, silent] -= tape.samples[:, silent]
        decoded = codec.decode(Signal(hurt, 22_050))
        assert (decoded.payload == payload, decoded.intact) == (True, True), f"dropout at {start_s:.3f} s"


GROUPED = "contents/rs:parity_bytes=64/interleave:depth=40/frame:block_bytes=64/group:bit_rate_hz=4800,tracks=split"


@pytest.mark.parametrize(
    ("name", "payload_bytes", "least_ms"),
    [("steady-worn", 1024, 100), ("steady-attic", 640, 400), (GROUPED, 1500, 100)],
)
def test_a_dropout_costs_nothing_wherever_it_falls(name, payload_bytes, least_ms):
    """At every tenth of a second from leader to tail, and at every few milliseconds around the start mark."""
    assert tapewright.codec(name).guaranteed_burst_ms(payload_bytes) >= least_ms
    last_s = tapewright.codec(name).duration_s(payload_bytes)
    sweep(name, payload_bytes, [*np.arange(0.0, last_s, 0.1), *np.arange(0.985, 1.035, 0.007)])


@pytest.mark.acceptance
@pytest.mark.parametrize(("name", "payload_bytes"), [("steady-worn", 1024), ("steady-attic", 640), (GROUPED, 1500)])
def test_a_dropout_costs_nothing_at_every_five_milliseconds(name, payload_bytes):
    sweep(name, payload_bytes, np.arange(0.0, tapewright.codec(name).duration_s(payload_bytes), 0.005))


@pytest.mark.parametrize("name", ["plain-biphase", "plain-clocked", "standard-300"])
def test_without_correction_nothing_is_promised(name):
    assert tapewright.codec(name).guaranteed_burst_ms(4096) == 0


def test_a_longer_program_bears_no_less():
    codec = tapewright.codec("steady-worn")
    promised = [codec.guaranteed_burst_ms(size) for size in range(512, 20_000, 512)]
    assert promised == sorted(promised)


def test_no_promise_is_made_of_no_correction_or_no_block():
    for spec in ("contents/interleave/biphase", "contents/frame/biphase", "contents/rs/convolutional/frame/biphase"):
        codec = tapewright.codec(spec)
        assert isinstance(codec, Codec)
        assert codec.guaranteed_burst_ms(1000) == 0
