"""What is drawn once and copied is the recording that the definition gives, frame by frame in double precision."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tapewright.contracts import registry
from tapewright.contracts.bits import from_bytes

ONE_STEP = 2e-7
"""Two float32 steps below 1: rounding once in the table of angles and once in the sum."""

RATES = st.sampled_from([32_000, 44_100, 48_000, 96_000])
PROGRAMS = st.binary(max_size=24)


def _off(made, wanted):
    assert made.shape == wanted.shape
    return float(np.abs(made - wanted).max(initial=0.0))


@settings(max_examples=30)
@given(PROGRAMS, RATES, st.sampled_from([300.0, 299.7, 600.0, 1000.0]), st.sampled_from([2400.0, 2222.0, 2400.3]))
def test_fsk_is_one_phase_of_the_tones(program, rate_hz, baud_hz, mark_hz):
    codec = registry.codec(f"fsk:baud_hz={baud_hz},mark_hz={mark_hz},space_hz=1200,leader_s=0.5")
    code, made = codec.line_code, codec.encode(program, rate_hz)
    line = code.line_bits(from_bytes(program))
    times = np.arange(made.frames) / rate_hz
    edges = code.leader_s + np.arange(line.size + 1) / baud_hz
    cycles = np.concatenate([[0.0], np.cumsum(np.where(line > 0, mark_hz, code.space_hz) / baud_hz)])
    within = np.interp(times, edges, cycles)
    phase = mark_hz * (np.minimum(times, edges[0]) + np.maximum(times - edges[-1], 0.0)) + within
    assert _off(made.samples[0], 10 ** (-1 / 20) * np.sin(2 * np.pi * phase)) < 1e-6
    assert np.array_equal(made.samples[0], made.samples[1])


@settings(max_examples=30)
@given(
    PROGRAMS,
    RATES,
    st.sampled_from([1000.0, 1200.0, 1234.5, 2400.0, 8000.0]),
    st.sampled_from([0.0, 0.25, 1.0]),
    st.sampled_from(["same", "split", "right"]),
)
def test_biphase_is_levels_joined_by_raised_sines(program, rate_hz, bit_rate_hz, edge_share, tracks):
    codec = registry.codec(
        f"biphase:bit_rate_hz={bit_rate_hz},edge_share={edge_share},tracks={tracks},leader_s=1,tail_s=0.01"
    )
    code, made = codec.line_code, codec.encode(program, rate_hz)
    a_frame = code.level_rate_hz / rate_hz
    width = min(max(edge_share, a_frame), 1.0)
    place = (np.arange(made.frames) + 0.5) * a_frame
    for row, levels in zip(made.samples, code.levels(from_bytes(program)), strict=True):
        padded = np.concatenate([[0.0], 10 ** (-1 / 20) * levels, [0.0, 0.0]])
        edge = np.minimum(np.floor(place + 0.5).astype(np.int64), levels.size + 1)
        before, after = padded[edge], padded[np.minimum(edge + 1, padded.size - 1)]
        turn = np.sin(np.pi * np.clip((place - edge) / width, -0.5, 0.5))
        assert _off(row, (before + after) / 2 + (after - before) / 2 * turn) < ONE_STEP


@settings(max_examples=30)
@given(
    PROGRAMS,
    RATES,
    st.sampled_from([3000.0, 3001.7, 2999.0]),
    st.sampled_from([60.0, 61.37]),
    st.sampled_from([0.0, 2.0]),
)
def test_clocked_is_one_sine_keyed(program, rate_hz, tone_hz, step_ms, edge_ms):
    codec = registry.codec(f"clocked:tone_hz={tone_hz},step_ms={step_ms},edge_ms={edge_ms},line_up_s=0.1,leader_s=0.1")
    code, made = codec.line_code, codec.encode(program[:4], rate_hz)
    gates = np.zeros(made.samples.shape)
    edge = round(edge_ms / 1000 * rate_hz)
    rise = 0.5 - 0.5 * np.cos(np.pi * (np.arange(edge) + 0.5) / max(edge, 1))
    for burst in code.bursts(from_bytes(program[:4])):
        first, last = round(burst.start_s * rate_hz), round(burst.end_s * rate_hz)
        gates[burst.track, first:last] = 1.0
        gates[burst.track, first : first + edge] = rise
        gates[burst.track, last - edge : last] = rise[::-1]
    sine = 10 ** (-1 / 20) * np.sin(2 * np.pi * (tone_hz / rate_hz * np.arange(made.frames) % 1.0))
    assert _off(made.samples, gates * sine) < ONE_STEP


@pytest.mark.parametrize("spec", ["fsk", "biphase", "clocked"])
def test_what_is_copied_does_not_run_away(spec):
    """A whole minute: a phase or a place that is rounded once must not add up."""
    codec = registry.codec(spec)
    seconds = codec.duration_s(1000) - codec.duration_s(0)
    program = bytes([0x5A]) * int(60 * 1000 / seconds)
    half = len(program) // 2 * 2
    tape = codec.encode(program[:half], 48_000)
    assert codec.decode(tape).payload == program[:half]
