import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline
from scipy.signal import hilbert
from scipy.stats import chi2, ncx2
from tapewright.codecs.line_codes.clock_flywheel import TRIAL_HITS
from tapewright.codecs.line_codes.dual_rail import DualRail
from tapewright.codecs.line_codes.rail_code import RailCode
from tapewright.codecs.line_codes.two_tone_rails import TwoToneRails
from tapewright.contracts.bits import from_bytes
from tapewright.contracts.errors import UsageError
from tapewright.contracts.signal import Signal
from tapewright.contracts.soft_bits import LOST

RATE_HZ = 16_000
CODES = (DualRail, TwoToneRails)


def random_bits(count: int, seed: int) -> NDArray[np.uint8]:
    return np.random.default_rng(seed).integers(0, 2, count).astype(np.uint8)


def on_times(track: NDArray[np.float32], rate_hz: int) -> NDArray[np.float64]:
    """Where the envelope is above half of its peak, shape (bursts, 2), seconds: by scipy's analytic signal."""
    envelope = np.abs(hilbert(track.astype(float)))
    above = np.concatenate([[False], envelope > 0.5 * envelope.max(), [False]])
    return np.flatnonzero(np.diff(above)).reshape(-1, 2) / rate_hz


def test_the_tape_is_the_timing_diagram() -> None:
    """Figures written out by hand from the docstring: T = 50, B = 24, edges 2 ms; the byte is 0xA4, one extra step."""
    tape = DualRail(line_up_s=0.5, leader_s=0.3, extra_steps=1).modulate(from_bytes(b"\xa4"), 48_000)
    start = 0.8
    steps = [start, start + 0.074] + [start + 0.074 + 0.05 * n for n in range(1, 8)]
    zeros = [1, 3, 4, 6, 7]
    ones = [0, 2, 5]
    end = start + 9 * 0.05 + 0.024
    bursts = {
        0: [(0.0, 0.5), *((steps[n], steps[n] + 0.024) for n in [*zeros, 8]), (end, end + 0.096)],
        1: [(0.0, 0.5), (0.8, 0.848), *((steps[n], steps[n] + 0.024) for n in [*ones[1:], 8]), (end, end + 0.096)],
    }
    for track, expected in bursts.items():
        found = on_times(tape.samples[track], 48_000)
        assert found.shape == (len(expected), 2)
        # At half amplitude a burst is an edge shorter, half of it at each end.
        assert np.abs(found - np.array(expected) - np.array([0.001, -0.001])).max() < 0.0003
    assert tape.duration_s == pytest.approx(end + 0.05 + 3 * 0.024 + 0.25, abs=1e-4)


def test_the_tone_says_the_second_bit() -> None:
    """Bits 00 01 10 11: left low, left high, right low, right high, by the strongest line of each burst's spectrum."""
    code = TwoToneRails(line_up_s=0.0, leader_s=0.3, extra_steps=0, reset_mark=False, end_mark=False)
    samples = code.modulate(from_bytes(b"\x1b"), 48_000).samples
    found = []
    for step in range(4):
        window = samples[:, round((0.3 + 0.05 * step) * 48_000) :][:, : round(0.024 * 48_000)]
        spectra = np.abs(np.fft.rfft(window, axis=1))
        track, line = np.unravel_index(np.argmax(spectra), spectra.shape)
        assert spectra[1 - track].max() < 1e-6
        found.append((int(track), round(line * 48_000 / window.shape[1], -2)))
    assert found == [(0, 2000), (0, 4000), (1, 2000), (1, 4000)]


@pytest.mark.parametrize("kind", CODES)
@given(
    payload=st.binary(min_size=1, max_size=3),
    extra_steps=st.integers(0, 4),
    reset_mark=st.booleans(),
    one_track=st.sampled_from(["left", "right"]),
    lsb=st.booleans(),
)
def test_a_reader_that_knows_the_keying_alone_reads_the_bursts(
    kind: type[RailCode], payload: bytes, extra_steps: int, reset_mark: bool, one_track: str, lsb: bool
) -> None:
    """As hardware does: which track sounds, at which tone, in each step that the contract announces."""
    code = kind(extra_steps=extra_steps, reset_mark=reset_mark, one_track=one_track, bit_order="lsb" if lsb else "msb")
    keying = code.keying()
    tones_hz = (keying.tone_hz, *keying.more_tones_hz)
    heard = []
    for byte in range(len(payload)):
        bits: list[int] = []
        for step in range(keying.steps_a_byte):
            at_s = keying.first_step_s + byte * keying.seconds_a_byte + step * keying.step_s
            at_s += keying.mark_extra_s if step else 0.0
            sounding = [b for b in code.bursts(from_bytes(payload)) if abs(b.start_s - at_s) < 1e-9]
            long = keying.mark_s is not None and step == 0
            assert all(b.length_s == pytest.approx(keying.mark_s if long else keying.clock_burst_s) for b in sounding)
            if step >= keying.data_steps:
                assert [(b.track, b.tone_hz) for b in sounding] == [(0, keying.tone_hz), (1, keying.tone_hz)]
                continue
            (burst,) = sounding
            bits.append(int(keying.roles[burst.track] == "one"))
            bits += [tones_hz.index(burst.tone_hz)] if keying.more_tones_hz else []
        heard.append(bits[::-1] if keying.least_significant_first else bits)
    assert np.array_equal(np.array(heard).ravel(), from_bytes(payload))


@pytest.mark.parametrize("kind", CODES)
@given(
    count=st.integers(0, 40),
    seed=st.integers(0, 2**16),
    step_ms=st.sampled_from([15.0, 30.0, 50.0]),
    group_bits=st.sampled_from([8, 9, 24]),
    extra_steps=st.integers(0, 5),
    reset_mark=st.booleans(),
    end_mark=st.booleans(),
    bit_order=st.sampled_from(["msb", "lsb"]),
    one_track=st.sampled_from(["left", "right"]),
    line_up_s=st.sampled_from([0.0, 0.5, 2.0]),
    rate_hz=st.sampled_from([11_025, 16_000, 44_100]),
)
def test_bits_round_trip(
    kind: type[RailCode],
    count: int,
    seed: int,
    step_ms: float,
    group_bits: int,
    extra_steps: int,
    reset_mark: bool,
    end_mark: bool,
    bit_order: str,
    one_track: str,
    line_up_s: float,
    rate_hz: int,
) -> None:
    code = kind(
        step_ms=step_ms,
        edge_ms=0.5,
        group_bits=group_bits,
        extra_steps=extra_steps,
        reset_mark=reset_mark,
        end_mark=end_mark,
        bit_order=bit_order,
        one_track=one_track,
        line_up_s=line_up_s,
        leader_s=0.3,
    )
    steps = -(-count // group_bits) * (code.data_steps + extra_steps) + end_mark
    assume(steps <= 1 or steps > TRIAL_HITS + 1)  # between lies a tape too short to be told from chance
    bits = random_bits(count, seed)
    tape = code.modulate(bits, rate_hz)
    assert abs(tape.duration_s - code.duration_s(count)) <= 1.01 / rate_hz
    heard = code.demodulate(tape)
    assert len(heard) == -(-count // group_bits) * group_bits
    assert np.array_equal(heard.bits[:count], bits)
    assert not heard.bits[count:].any()
    assert (np.abs(heard.values) > LOST).all()


def at_speed(tape: Signal, error: float, wow_percent: float, wow_hz: float) -> Signal:
    out_s = np.arange(int(tape.frames / (1 + error)) - 200) / tape.sample_rate_hz
    swing_s = wow_percent / 100 / (2 * np.pi * wow_hz)
    source_s = out_s * (1 + error) + swing_s * np.sin(2 * np.pi * wow_hz * out_s)
    grid_s = np.arange(tape.frames) / tape.sample_rate_hz
    rows = [CubicSpline(grid_s, row)(np.clip(source_s, 0, grid_s[-1])) for row in tape.samples]
    return Signal(np.stack(rows), tape.sample_rate_hz)


@pytest.mark.parametrize("kind", CODES)
@pytest.mark.parametrize(
    ("error", "wow_percent", "wow_hz"), [(0.08, 0.0, 1.0), (-0.08, 0.0, 1.0), (0.0, 1.0, 0.5), (0.06, 1.0, 2.0)]
)
def test_speed_errors_and_wow_are_followed(
    kind: type[RailCode], error: float, wow_percent: float, wow_hz: float
) -> None:
    code = kind(line_up_s=0.5)
    bits = random_bits(8 * 12, 1)
    heard = code.demodulate(at_speed(code.modulate(bits, RATE_HZ), error, wow_percent, wow_hz))
    assert np.array_equal(heard.bits, bits)
    assert not any("lost" in event.what for event in heard.events)


@pytest.mark.parametrize("kind", CODES)
@pytest.mark.parametrize("later_ms", [-8.0, -3.0, 3.0, 8.0])
def test_tracks_that_run_apart_keep_clock_and_data_together(kind: type[RailCode], later_ms: float) -> None:
    """Far more than any azimuth does: the bit is the step, so only the cadence staggers."""
    code = kind(line_up_s=0.5)
    bits = random_bits(8 * 12, 2)
    samples = code.modulate(bits, RATE_HZ).samples.copy()
    samples[1] = np.roll(samples[1], round(later_ms * RATE_HZ / 1000))
    assert np.array_equal(code.demodulate(Signal(samples, RATE_HZ)).bits, bits)


@pytest.mark.parametrize("kind", CODES)
def test_polarity_crosstalk_and_uneven_tracks_do_not_matter(kind: type[RailCode]) -> None:
    """Inverted, each track at -20 dB on the other, one track 12 dB weaker."""
    code = kind(line_up_s=0.5)
    for bits in (random_bits(96, 3), np.zeros(96, np.uint8), np.ones(96, np.uint8)):
        samples = code.modulate(bits, RATE_HZ).samples
        mixed = -(samples + 0.1 * samples[::-1]) * np.array([[1.0], [0.25]], np.float32)
        assert np.array_equal(code.demodulate(Signal(mixed, RATE_HZ)).bits, bits)


@pytest.mark.parametrize("kind", CODES)
def test_where_no_rail_sounds_the_bits_are_not_known(kind: type[RailCode]) -> None:
    code = kind(line_up_s=0.5)
    bits = random_bits(8 * 10, 4)
    samples = code.modulate(bits, RATE_HZ).samples.copy()
    step = 2 * code.data_steps + 2
    byte, place = divmod(step, code.data_steps)
    first_s = code.keying().first_step_s + byte * code.group_s + code.mark_s + place * code.step_s
    samples[:, int(first_s * RATE_HZ) - 30 : int((first_s + code.burst_s) * RATE_HZ) + 30] = 0.0
    hiss = np.random.default_rng(11).normal(0, 0.02, samples.shape)
    heard = code.demodulate(Signal(samples + hiss, RATE_HZ))
    width = code.bits_a_step
    lost = list(range(step * width, step * width + width))
    assert len(heard) == bits.size
    assert np.flatnonzero(np.abs(heard.values) <= LOST).tolist() == lost
    assert np.array_equal(np.delete(heard.bits, lost), np.delete(bits, lost))


def test_a_jump_of_the_tape_costs_one_byte() -> None:
    """Half a step of tape is cut out: the cadence cannot tell, the next reset mark can."""
    code = DualRail(line_up_s=0.5)
    bits = random_bits(8 * 16, 5)
    samples = code.modulate(bits, RATE_HZ).samples
    at = int((1.5 + 5.4 * code.group_s) * RATE_HZ)
    heard = code.demodulate(Signal(np.delete(samples, np.s_[at : at + int(0.027 * RATE_HZ)], axis=1), RATE_HZ))
    assert len(heard) == bits.size
    wrong = np.flatnonzero((heard.bits != bits).reshape(-1, 8).any(axis=1))
    assert set(wrong.tolist()) <= {5}


def bit_error_rate(gain: float, looks: int, rails: int) -> float:
    """One of ``rails`` orthogonal tones, the largest sum of ``looks`` envelopes: the one that sounds is noncentral
    chi-square, the others chi-square, with 2 looks degrees of freedom; ``gain`` = energy of a burst over N0."""
    power = np.linspace(0.0, 8 * gain + 60 * looks, 40_001)
    right = ncx2.pdf(power, 2 * looks, 2 * gain) * chi2.cdf(power, 2 * looks) ** (rails - 1)
    return float((1.0 - np.trapezoid(right, power)) * (rails / 2) / (rails - 1))


def test_the_law_meets_the_published_formula() -> None:
    """Noncoherent orthogonal detection, one look: exp(-E/2N0)/2 for two tones, and the alternating sum for four
    (Proakis, Digital Communications; from memory)."""
    gain = 10.0
    assert bit_error_rate(gain, 1, 2) == pytest.approx(0.5 * math.exp(-gain / 2), rel=1e-4)
    terms = [(-1) ** (n + 1) * math.comb(3, n) / (n + 1) * math.exp(-gain * n / (n + 1)) for n in (1, 2, 3)]
    assert bit_error_rate(gain, 1, 4) == pytest.approx(2 / 3 * sum(terms), rel=1e-4)


@pytest.mark.parametrize(("kind", "seed"), [(DualRail, 6), (TwoToneRails, 7)])
def test_noise_costs_less_than_its_law_and_a_margin(kind: type[RailCode], seed: int) -> None:
    """A burst's window of 10.4 ms holds two looks at most; law as in ``bit_error_rate``.

    Null: the loss is 0.3 dB (what was measured over 9,600 bits), E/N0 = 12 dB, 9,600 bits: 7 errors expected with one
    and 14 with two bits a step, 1.5 dB allow 42 and 50. A slipped cadence costs a group, up to 8 bits at once: 3 such
    groups more are 5 standard errors of a Poisson count of 1.
    """
    code = kind(step_ms=30, line_up_s=0.5, leader_s=0.3)
    window_s = code.burst_s - 2 * code.edge_ms / 1000
    deviation = np.sqrt(10 ** (code.level_db / 10) * window_s * RATE_HZ / (4 * 10**1.2))
    bits = random_bits(9_600, seed)
    tape = code.modulate(bits, RATE_HZ)
    noise = np.random.default_rng(seed + 10).normal(0, deviation, tape.samples.shape)
    heard = code.demodulate(Signal(tape.samples + noise, RATE_HZ))
    errors = float(np.mean(heard.bits[: bits.size] != bits))
    rails = len(code.rails)
    assert 0.1 * bit_error_rate(10**1.2, 2, rails) < errors < bit_error_rate(10**1.05, 2, rails)
    # Both bits are told alike (s.e. of each mean is half a percent), and about as surely as they are right: a bit told
    # with x is wrong once in 1 + e^x. Some 8 are, told are 15 to 30 for the chance of a dropout in each weak burst.
    sureness = np.abs(heard.values[: bits.size])
    assert sureness[bits == 0].mean() == pytest.approx(sureness[bits == 1].mean(), rel=0.05)
    assert 0.5 < np.mean(1 / (1 + np.exp(sureness))) / errors < 8


@pytest.mark.parametrize("kind", CODES)
def test_minutes_of_noise_hold_nothing(kind: type[RailCode]) -> None:
    """Null: no train is heard; seed 8, some 3,600 steps. One false byte is allowed for."""
    noise = np.random.default_rng(8).normal(0, 0.2, (2, 180 * 9_000)).astype(np.float32)
    assert len(kind().demodulate(Signal(noise, 9_000))) <= 8


@pytest.mark.parametrize("kind", CODES)
@pytest.mark.parametrize("rate_hz", [1_000, 6_000, 8_000, 192_000])
def test_demodulate_is_total(kind: type[RailCode], rate_hz: int) -> None:
    rng = np.random.default_rng(9)
    tone = np.sin(2 * np.pi * 3000 / rate_hz * np.arange(3 * rate_hz))
    for samples in (np.zeros((2, 0)), np.ones((2, 1)), np.zeros((2, rate_hz)), rng.normal(0, 1, (2, rate_hz)), tone):
        assert len(kind().demodulate(Signal(samples, rate_hz))) == 0


@pytest.mark.parametrize("kind", CODES)
def test_every_truncation_is_read_as_far_as_it_goes(kind: type[RailCode]) -> None:
    code = kind(line_up_s=0.5)
    bits = random_bits(80, 10)
    samples = code.modulate(bits, RATE_HZ).samples
    for tenth in range(10):
        heard = code.demodulate(Signal(samples[:, : samples.shape[1] * tenth // 10], RATE_HZ))
        assert len(heard) <= bits.size
        assert np.array_equal(heard.bits, bits[: len(heard)])
    assert len(heard) >= 56


def test_rules_are_named() -> None:
    with pytest.raises(UsageError, match="dual_rail: every tone must be below half the sample rate"):
        DualRail().modulate(np.zeros(8, np.uint8), 6_000)
    with pytest.raises(UsageError, match="dual_rail: a burst must hold at least 8 cycles"):
        DualRail(tone_hz=200.0)
    with pytest.raises(UsageError, match="'edge_ms' must be at most half a burst"):
        DualRail(edge_ms=20.0)
    with pytest.raises(UsageError, match=r"'second_tone_hz' must be at least 1.25 times tone_hz \(2500 Hz\), not 2400"):
        TwoToneRails(second_tone_hz=2400.0)
