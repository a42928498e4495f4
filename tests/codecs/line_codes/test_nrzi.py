"""What MFM, the group codes and pulse width share: the recording, its clock, noise, dropouts and odd sounds."""

import dataclasses

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm
from tapewright.codecs.line_codes.group import Group
from tapewright.codecs.line_codes.mfm import Mfm
from tapewright.codecs.line_codes.pulse_width import PulseWidth
from tapewright.contracts.errors import UsageError
from tapewright.contracts.signal import Signal
from tapewright.contracts.soft_bits import LOST
from wandering_tape import FINE, RATE, played, some_bits


def pulse_width(ratio):
    """Takes twice the cells for a bit, so it is tried at half the bits a second."""
    return lambda bit_rate_hz=2400, **told: PulseWidth(bit_rate_hz=bit_rate_hz / 2, ratio=ratio, **told)


KINDS = {
    "mfm": Mfm,
    "fddi": lambda **told: Group(table="fddi", **told),
    "tape": lambda **told: Group(table="tape", **told),
    "width 2": pulse_width(2),
    "width 3": pulse_width(3),
}
TRACKS = ("same", "left", "right", "split")
each_kind = pytest.mark.parametrize("make", KINDS.values(), ids=KINDS)


@given(
    st.sampled_from(sorted(KINDS)),
    st.sampled_from(TRACKS),
    st.sampled_from((8_000, 11_025, 44_100, 96_000)),
    st.floats(0.0, 1.0),
    st.floats(0.0, 1.0),
    st.integers(0, 300),
    st.integers(0, 2**32 - 1),
)
def test_bits_come_back(kind, tracks, sample_rate_hz, share_of_rates, edge_share, count, seed):
    bit_rate_hz = 200 * (min(8000, sample_rate_hz / 7) / 200) ** share_of_rates
    bits = some_bits(count, seed)
    code = KINDS[kind](bit_rate_hz=bit_rate_hz, tracks=tracks, leader_s=0.2, edge_share=edge_share)
    signal = code.modulate(bits, sample_rate_hz)
    assert signal.frames == round(code.duration_s(count) * sample_rate_hz)
    assert np.abs(signal.samples).max() <= 1
    heard = code.demodulate(signal)
    assert heard.bits[:count].tolist() == bits.tolist()
    assert len(heard) <= count + 40


@each_kind
@pytest.mark.parametrize("pattern", [[0], [1], [0, 1], [1, 1, 0, 0], [1, 0, 1, 1, 0]])
def test_monotonous_bits_come_back(make, pattern):
    bits = np.resize(np.array(pattern, np.uint8), 500)
    code = make(leader_s=0.1)
    assert code.demodulate(code.modulate(bits, 22_050)).bits[:500].tolist() == bits.tolist()


@each_kind
@pytest.mark.parametrize("tracks", TRACKS)
def test_claimed_tolerances_hold(make, tracks):
    bits = some_bits(300, 1)
    code = make(tracks=tracks)
    samples = code.modulate(bits).samples
    assert ("swapped_tracks" in code.tolerates) == (tracks == "same")
    for claim, worse in (("polarity", -samples), ("swapped_tracks", samples[::-1])):
        if claim in code.tolerates:
            assert code.demodulate(Signal(worse, RATE)).bits[:300].tolist() == bits.tolist()


@each_kind
@pytest.mark.parametrize("mix", [[[1], [-1]], [[0], [1]], [[0.3], [1]]], ids=["one inverted", "one dead", "one weak"])
def test_the_tracks_help_each_other_where_both_say_the_same(make, mix):
    bits = some_bits(600, 2)
    heard = make().demodulate(Signal(make().modulate(bits).samples * mix, RATE))
    assert heard.bits[:600].tolist() == bits.tolist()


@each_kind
@pytest.mark.parametrize("wow_hz", [0.5, 4.0, 10.0])
@pytest.mark.parametrize("speed", [-0.08, 0.08])
@pytest.mark.parametrize(
    "arguments", [{"bit_rate_hz": 1200}, {"bit_rate_hz": 4800, "tracks": "split"}, {"bit_rate_hz": 7200}]
)
def test_speed_error_and_wow_cost_nothing(make, arguments, speed, wow_hz):
    code = make(leader_s=0.5, **arguments)
    bits = some_bits(int(1.2 * code.bit_rate_hz), 3)
    samples, _ = played(code, bits, speed, 0.01, wow_hz, phase=1.0)
    assert np.array_equal(code.demodulate(Signal(samples, RATE)).bits[: bits.size], bits)


@each_kind
def test_the_speed_is_told(make):
    samples, _ = played(make(), some_bits(1200, 4), speed=-0.06)
    told = next(str(event) for event in make().demodulate(Signal(samples, RATE)).events if "speed" in str(event))
    assert float(told.split("speed")[1].split("%")[0]) == pytest.approx(-6, abs=0.05)


@each_kind
@pytest.mark.parametrize(
    ("arguments", "gap_ms"),
    [({}, 5), ({}, 50), ({"bit_rate_hz": 3600, "tracks": "split"}, 8), ({"bit_rate_hz": 4800}, 25)],
)
@pytest.mark.parametrize("wow_hz", [0.5, 4.0, 10.0])
@pytest.mark.parametrize("left_over", [0.0, 0.03])
def test_a_dropout_costs_only_its_own_words(make, arguments, wow_hz, gap_ms, left_over):
    """1 % wow: what is left in the gap says nothing of the speed there, and still no bit is lost from the count."""
    code = make(leader_s=0.5, **arguments)
    bits = some_bits(int(1.5 * code.bit_rate_hz), 5)
    samples, tape_s = played(code, bits, 0.0, 0.01, wow_hz, phase=2.0)
    times = np.arange(samples.shape[1]) / RATE
    samples[:, (times > 1.0) & (times < 1.0 + gap_ms / 1000)] *= left_over
    samples += np.random.default_rng(6).normal(0, 0.003, samples.shape).astype(np.float32)
    heard = code.demodulate(Signal(samples, RATE))
    word = code.trellis.bits_a_word
    words = np.arange(bits.size) // (2 if code.tracks == "split" else 1) // word
    lead = -(-round(0.5 * code.bit_rate_hz) // word) * word + 32
    place = np.interp((lead / word + words + 0.5) * word / code.bit_rate_hz, tape_s, times)
    reach = max(word, 4) / code.bit_rate_hz
    hit = (place > 1.0 - reach) & (place < 1.0 + gap_ms / 1000 + reach)
    assert 0 < hit.sum() < bits.size
    assert np.array_equal(heard.bits[: bits.size][~hit], bits[~hit])
    deep = (place > 1.0 + 20 / code.bit_rate_hz) & (place < 1.0 + gap_ms / 1000 - 20 / code.bit_rate_hz)
    assert (np.abs(heard.values[: bits.size][deep]) <= LOST).all()


@each_kind
@pytest.mark.parametrize("tracks", ["same", "split"])
@pytest.mark.parametrize("lag_us", [-170, -60, 60, 170])
def test_skew_between_the_tracks_costs_nothing(make, tracks, lag_us):
    """170 us: an azimuth error of 31 arcmin over 0.9 mm between track centres at 47.6 mm/s."""
    code = make(bit_rate_hz=2400, tracks=tracks, leader_s=0.3)
    bits = some_bits(800, 7)
    samples = code.modulate(bits, FINE).samples
    lag = round(abs(lag_us) * 1e-6 * FINE)
    early, late = (0, 1) if lag_us > 0 else (1, 0)
    skewed = np.empty((2, samples.shape[1] - lag), np.float32)
    skewed[early] = samples[early, lag:]
    skewed[late] = samples[late, : samples.shape[1] - lag]
    assert np.array_equal(code.demodulate(Signal(skewed, FINE)).bits[:800], bits)


@each_kind
@pytest.mark.parametrize("cells", [1, -1, 2])
def test_a_splice_costs_only_the_words_around_it(make, cells):
    """A splice that takes out, or doubles, whole cells: at most 100 bits before it and after it are damaged."""
    trellis = make().trellis
    code = dataclasses.replace(make(), bit_rate_hz=2205 * trellis.bits_a_word / trellis.cells_a_word)
    a_cell = RATE / code.cell_rate_hz
    assert a_cell == 20
    bits = some_bits(3000, 8)
    samples = code.modulate(bits).samples
    cut = RATE * 3 // 2
    spliced = np.concatenate((samples[:, :cut], samples[:, cut + int(a_cell) * cells :]), axis=1)
    heard = code.demodulate(Signal(spliced, RATE)).bits
    at = int((cut / RATE - 1.0) * code.bit_rate_hz) - 32
    assert np.array_equal(heard[: at - 100], bits[: at - 100])
    rest = bits[at + 150 : 2900]
    assert sum(np.array_equal(heard[at + 150 + shift :][: rest.size], rest) for shift in range(-8, 9)) == 1


BITS = 24_000


def heard_in_noise(code, eb_n0_db, seed, rate=22_050):
    """Data and what was heard of it; Eb is the energy of the data part over the bits in it."""
    rng = np.random.default_rng(seed)
    bits = rng.integers(0, 2, BITS).astype(np.uint8)
    signal = code.modulate(bits, rate)
    begin, end = rate * 3 // 2, signal.frames - rate
    energy_a_bit = (signal.samples[:, begin:end].astype(float) ** 2).sum() / (end - begin) * rate / code.bit_rate_hz
    if code.tracks == "split":
        energy_a_bit /= 2
    noise = np.sqrt(energy_a_bit / 10 ** (eb_n0_db / 10) / 2)
    return bits, code.demodulate(Signal(signal.samples + rng.normal(0, noise, signal.samples.shape), rate))


@pytest.mark.parametrize("tracks", ["left", "same", "split"])
@pytest.mark.parametrize(("kind", "share"), [("mfm", 0.5), ("fddi", 0.8), ("tape", 0.8), ("width 2", 1 / 3)])
def test_bit_errors_in_noise_are_what_the_nearest_words_allow(kind, share, tracks):
    """Moving one change by one cell turns one cell over, which holds ``share`` of a bit's energy: that is mistaken with
    p = Q(sqrt(2 share Eb/N0)), and costs at least one bit. Null: the detector loses 0.8 dB to what it must learn, and
    an event of which there are about two a word costs two bits. N = 24,000 at 7 dB, seed 11: counts of 30 to 230; the
    bounds are half of p at 7 dB and four p at 6 dB, more than 4 sigma from what is measured.
    """
    bits, heard = heard_in_noise(KINDS[kind](bit_rate_hz=1200, tracks=tracks, edge_share=0.0), 7.0, 11)
    assert len(heard) >= BITS
    wrong = (heard.bits[:BITS] != bits).mean()
    assert 0.5 * norm.sf(np.sqrt(2 * share * 10**0.7)) < wrong < 4 * norm.sf(np.sqrt(2 * share * 10**0.6))


@each_kind
def test_a_minute_of_white_noise_holds_nothing(make):
    noise = np.random.default_rng(15).normal(0, 0.1, (2, 60 * RATE)).astype(np.float32)
    assert len(make().demodulate(Signal(noise, RATE))) == 0


ODD_SOUNDS = {
    "empty": lambda n, rng: np.zeros((2, 0)),
    "one frame": lambda n, rng: np.ones((2, 1)),
    "silence": lambda n, rng: np.zeros((2, n)),
    "offset": lambda n, rng: np.full((2, n), 9e5),
    "huge noise": lambda n, rng: rng.normal(0, 1e5, (2, n)),
    "tiny noise": lambda n, rng: rng.normal(0, 1e-38, (2, n)),
    "a click": lambda n, rng: np.broadcast_to((np.arange(n) == n // 2) * 9e5, (2, n)),
    "a step": lambda n, rng: np.broadcast_to((np.arange(n) > n // 2) * 1.0, (2, n)),
    "a tone": lambda n, rng: np.broadcast_to(np.sin(np.arange(n) * 0.3), (2, n)),
    "alternating": lambda n, rng: np.broadcast_to((-1.0) ** np.arange(n), (2, n)),
}


@each_kind
@pytest.mark.parametrize("sound", ODD_SOUNDS)
@pytest.mark.parametrize(
    ("sample_rate_hz", "arguments"), [(1_000, {"bit_rate_hz": 100}), (44_100, {"tracks": "split"})]
)
def test_demodulation_is_total(make, sound, sample_rate_hz, arguments):
    samples = ODD_SOUNDS[sound](sample_rate_hz, np.random.default_rng(9))
    heard = make(**arguments).demodulate(Signal(samples, sample_rate_hz))
    assert len(heard) <= 2 * 1.2 * 2400
    assert heard.events


@each_kind
def test_amplitude_and_offset_do_not_matter(make):
    bits = some_bits(300, 10)
    samples = make().modulate(bits).samples
    for worse in (samples * 1e5, samples * 1e-30, samples * 0.1 + 5, samples * 0.3 - 0.9):
        assert make().demodulate(Signal(worse, RATE)).bits[:300].tolist() == bits.tolist()


@each_kind
@pytest.mark.parametrize("cut_s", [0.3, 0.95, 1.0])
def test_a_start_that_is_missing_costs_only_itself(make, cut_s):
    bits = some_bits(300, 11)
    samples = make().modulate(bits).samples[:, int(cut_s * RATE) :]
    assert make().demodulate(Signal(samples, RATE)).bits[:300].tolist() == bits.tolist()


@each_kind
def test_times_are_the_middles_of_the_bits(make):
    bits = some_bits(500, 12)
    code = make()
    heard = code.demodulate(code.modulate(bits))
    middles = 1.0 + (32 + np.arange(500) + 0.5) / code.bit_rate_hz
    assert np.abs(heard.times_s[:500] - middles).max() < 10e-6


@each_kind
def test_too_fast_for_the_sample_rate_is_a_usage_error_and_reads_as_nothing(make):
    with pytest.raises(UsageError, match="cells a second"):
        make().modulate(np.zeros(8, np.uint8), 5_000)
    heard = make().demodulate(Signal(np.zeros((2, 8_000)), 5_000))
    assert len(heard) == 0
    assert "too few samples" in str(heard.events[0])
