"""Biphase: the recording is the published one, and comes back."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tapewright.codecs.line_codes.biphase import Biphase
from tapewright.contracts.bits import from_bytes
from tapewright.contracts.errors import UsageError
from tapewright.contracts.signal import Signal

VARIANTS = ({"variant": "mark"}, {"variant": "space"}, {"variant": "level"}, {"variant": "level", "first_half": "low"})
TRACKS = ("same", "left", "right", "split")

# Half cells, the level before the first being low. Rules: IEEE 802.3 (0 = high-low, 1 = low-high), G. E. Thomas 1949
# (the inverse), biphase-mark and -space by their definitions; strings derived from the rules by hand.
PUBLISHED = {
    "low": {
        b"\xa5": "01 10 01 10 10 01 10 01",
        b"\x4d": "10 01 10 10 01 01 10 01",
        b"\x00": "10 " * 8,
        b"\xff": "01 " * 8,
    },
    "high": {
        b"\xa5": "10 01 10 01 01 10 01 10",
        b"\x4d": "01 10 01 01 10 10 01 10",
        b"\x00": "01 " * 8,
        b"\xff": "10 " * 8,
    },
    "mark": {
        b"\xa5": "10 11 01 00 11 01 00 10",
        b"\x4d": "11 01 00 11 01 01 00 10",
        b"\x00": "11 00 " * 4,
        b"\xff": "10 " * 8,
    },
    "space": {
        b"\xa5": "11 01 00 10 10 11 01 00",
        b"\x4d": "10 11 01 01 00 11 01 00",
        b"\x00": "10 " * 8,
        b"\xff": "11 00 " * 4,
    },
}


def half_cells_on_tape(code, bits):
    """The half cells of the data as a string, read in their middles; turned over if the level before them is high."""
    rate = 96_000
    signal = code.modulate(bits, rate)
    before = round(code.leader_s * code.bit_rate_hz) + 32
    middles = (before + (np.arange(-1, 2 * bits.size) + 0.5) / 2) / code.bit_rate_hz
    levels = signal.samples[0][(middles * rate).astype(int)] > 0
    differential = code.variant != "level"
    return "".join("01"[int(level ^ (differential and levels[0]))] for level in levels[1:])


@pytest.mark.parametrize("kind", PUBLISHED)
@pytest.mark.parametrize("byte", [b"\xa5", b"\x4d", b"\x00", b"\xff"])
def test_half_cells_are_the_published_ones(kind, byte):
    code = Biphase(variant="level", first_half=kind) if kind in ("high", "low") else Biphase(variant=kind)
    assert half_cells_on_tape(code, from_bytes(byte)) == PUBLISHED[kind][byte].replace(" ", "")


def test_half_cells_of_the_sound_engineering_handbook():
    """100110 in biphase-mark, the source data of an AES3 figure."""
    bits = np.array([1, 0, 0, 1, 1, 0], np.uint8)
    assert half_cells_on_tape(Biphase(), bits) == "101100101011"


@given(
    st.sampled_from(VARIANTS),
    st.sampled_from(TRACKS),
    st.sampled_from((8_000, 11_025, 22_050, 44_100, 96_000, 192_000)),
    st.floats(0.0, 1.0),
    st.floats(0.0, 1.0),
    st.integers(0, 300),
    st.integers(0, 2**32 - 1),
)
def test_bits_come_back(variant, tracks, sample_rate_hz, share_of_rates, edge_share, count, seed):
    highest = min(8000, sample_rate_hz / 4)
    bit_rate_hz = 200 * (highest / 200) ** share_of_rates
    bits = np.random.default_rng(seed).integers(0, 2, count).astype(np.uint8)
    code = Biphase(bit_rate_hz=bit_rate_hz, tracks=tracks, leader_s=0.2, edge_share=edge_share, **variant)
    signal = code.modulate(bits, sample_rate_hz)
    assert signal.frames == round(code.duration_s(count) * sample_rate_hz)
    assert np.abs(signal.samples).max() <= 1
    heard = code.demodulate(signal)
    assert heard.bits[:count].tolist() == bits.tolist()
    assert len(heard) <= count + 40


@given(st.sampled_from(VARIANTS), st.sampled_from(([0], [1], [0, 1], [1, 1, 0, 0])), st.integers(0, 600))
def test_monotonous_bits_come_back(variant, pattern, count):
    bits = np.resize(np.array(pattern, np.uint8), count)
    code = Biphase(leader_s=0.1, **variant)
    assert code.demodulate(code.modulate(bits, 22_050)).bits[:count].tolist() == bits.tolist()


@pytest.mark.parametrize("variant", ["mark", "space", "level"])
@pytest.mark.parametrize("tracks", TRACKS)
def test_claimed_tolerances_hold(variant, tracks):
    bits = np.random.default_rng(1).integers(0, 2, 300).astype(np.uint8)
    code = Biphase(variant=variant, tracks=tracks)
    samples = code.modulate(bits).samples
    assert "polarity" in code.tolerates
    assert ("swapped_tracks" in code.tolerates) == (tracks == "same")
    for claim, worse in (("polarity", -samples), ("swapped_tracks", samples[::-1])):
        if claim in code.tolerates:
            heard = code.demodulate(Signal(worse, 44_100))
            assert heard.bits[:300].tolist() == bits.tolist()


def test_one_inverted_track_costs_nothing_where_both_say_the_same():
    bits = np.random.default_rng(2).integers(0, 2, 300).astype(np.uint8)
    samples = Biphase().modulate(bits).samples * [[1], [-1]]
    assert Biphase().demodulate(Signal(samples, 44_100)).bits[:300].tolist() == bits.tolist()


def test_a_dead_track_costs_nothing_where_both_say_the_same():
    bits = np.random.default_rng(3).integers(0, 2, 300).astype(np.uint8)
    samples = Biphase().modulate(bits).samples * [[0], [1]]
    assert Biphase().demodulate(Signal(samples, 44_100)).bits[:300].tolist() == bits.tolist()


def test_times_are_the_middles_of_the_cells():
    bits = np.random.default_rng(4).integers(0, 2, 500).astype(np.uint8)
    for variant in VARIANTS:
        code = Biphase(**variant)
        heard = code.demodulate(code.modulate(bits))
        middles = (1200 + 32 + np.arange(500) + 0.5) / 1200
        assert np.abs(heard.times_s[:500] - middles).max() < 10e-6


def test_tracks_and_level_are_as_asked():
    bits = np.ones(50, np.uint8)
    left = Biphase(tracks="left", level_db=-6.0).modulate(bits).samples
    assert np.abs(left[1]).max() == 0
    assert np.abs(left[0]).max() == pytest.approx(10 ** (-6 / 20), rel=1e-3)
    right = Biphase(tracks="right", level_db=-6.0).modulate(bits).samples
    assert np.array_equal(right[1], left[0])
    assert not left[:, -round(0.25 * 44_100) + 5 :].any()


def test_too_fast_for_the_sample_rate_is_a_usage_error_and_reads_as_nothing():
    code = Biphase(bit_rate_hz=4000)
    with pytest.raises(UsageError, match="4 times bit_rate_hz"):
        code.modulate(np.zeros(8, np.uint8), 8_000)
    heard = code.demodulate(Signal(np.zeros((2, 8_000)), 8_000))
    assert len(heard) == 0
    assert "too few samples" in str(heard.events[0])


ODD_SOUNDS = {
    "empty": lambda n, rng: np.zeros((2, 0)),
    "one frame": lambda n, rng: np.ones((2, 1)),
    "silence": lambda n, rng: np.zeros((2, n)),
    "offset": lambda n, rng: np.full((2, n), 9e5),
    "noise": lambda n, rng: rng.normal(0, 0.1, (2, n)),
    "huge noise": lambda n, rng: rng.normal(0, 1e5, (2, n)),
    "tiny noise": lambda n, rng: rng.normal(0, 1e-38, (2, n)),
    "a click": lambda n, rng: (np.arange(n) == n // 2) * 9e5,
    "a step": lambda n, rng: (np.arange(n) > n // 2) * 1.0,
    "a tone": lambda n, rng: np.sin(np.arange(n) * 0.3),
}


@pytest.mark.parametrize("sound", ODD_SOUNDS)
@pytest.mark.parametrize("sample_rate_hz", [1_000, 8_000, 44_100, 192_000])
@pytest.mark.parametrize(
    "arguments", [{}, {"tracks": "split", "bit_rate_hz": 50}, {"variant": "level", "tracks": "right"}]
)
def test_demodulation_is_total(sound, sample_rate_hz, arguments):
    samples = ODD_SOUNDS[sound](sample_rate_hz, np.random.default_rng(5))
    heard = Biphase(**arguments).demodulate(Signal(samples, sample_rate_hz))
    assert len(heard) <= 2 * 1.2 * 1200
    assert heard.events


def test_amplitude_and_offset_do_not_matter():
    bits = np.random.default_rng(6).integers(0, 2, 300).astype(np.uint8)
    samples = Biphase().modulate(bits).samples
    for worse in (samples * 1e5, samples * 1e-30, samples * 0.1 + 5, samples * 0.3 - 0.9):
        assert Biphase().demodulate(Signal(worse, 44_100)).bits[:300].tolist() == bits.tolist()


@pytest.mark.parametrize("cut_s", [0.3, 0.7, 0.95, 1.0])
def test_a_start_that_is_missing_costs_only_itself(cut_s):
    bits = np.random.default_rng(7).integers(0, 2, 300).astype(np.uint8)
    samples = Biphase().modulate(bits).samples[:, int(cut_s * 44_100) :]
    assert Biphase().demodulate(Signal(samples, 44_100)).bits[:300].tolist() == bits.tolist()


def test_a_leader_under_noise_costs_only_itself():
    bits = np.random.default_rng(8).integers(0, 2, 300).astype(np.uint8)
    samples = Biphase().modulate(bits).samples.copy()
    samples[:, : int(0.9 * 44_100)] = np.random.default_rng(9).normal(0, 0.5, (2, int(0.9 * 44_100)))
    heard = Biphase().demodulate(Signal(samples, 44_100))
    assert heard.bits[:300].tolist() == bits.tolist()
    assert heard.events[0].time_s == pytest.approx(0.9, abs=0.03)


def test_without_a_start_mark_all_bits_are_handed_on():
    bits = np.random.default_rng(10).integers(0, 2, 300).astype(np.uint8)
    samples = Biphase().modulate(bits).samples.copy()
    samples[:, int(0.98 * 44_100) : int((1 + 31.5 / 1200) * 44_100)] = 0
    heard = Biphase().demodulate(Signal(samples, 44_100))
    assert any("no start mark" in str(event) for event in heard.events)
    text = "".join(map(str, heard.bits))
    assert "".join(map(str, bits)) in text
    assert len(heard) > 1200


@given(
    st.integers(0, 2**32 - 1),
    st.sampled_from((1_000, 8_000, 44_100)),
    st.sampled_from(VARIANTS),
    st.sampled_from(TRACKS),
)
def test_any_patchwork_of_sounds_is_read_in_bounds(seed, sample_rate_hz, variant, tracks):
    rng = np.random.default_rng(seed)
    code = Biphase(bit_rate_hz=float(rng.choice([50, 250, 1200])), tracks=tracks, leader_s=0.1, **variant)
    patches = []
    for _ in range(6):
        frames = int(rng.integers(1, sample_rate_hz // 2))
        patch = rng.normal(0, 10.0 ** rng.uniform(-4, 2), (2, frames)) * rng.integers(0, 2)
        if sample_rate_hz >= 4 * code.bit_rate_hz and rng.integers(2):
            tape = code.modulate(rng.integers(0, 2, 300).astype(np.uint8), sample_rate_hz).samples
            begin = rng.integers(0, tape.shape[1])
            patch = tape[:: rng.choice([1, -1]), begin : begin + frames] * 10.0 ** rng.uniform(-3, 1)
        patches.append(patch)
    signal = Signal(np.concatenate(patches, axis=1), sample_rate_hz)
    heard = code.demodulate(signal)
    assert len(heard) <= 2 * 1.2 * code.bit_rate_hz * signal.duration_s + 64
