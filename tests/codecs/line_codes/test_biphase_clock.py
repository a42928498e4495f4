"""Biphase: the clock follows the tape through speed error, wow, dropouts, splices and skew."""

import numpy as np
import pytest
from tapewright.codecs.line_codes.biphase import Biphase
from tapewright.codecs.line_codes.transition_bridge import times_between
from tapewright.contracts.signal import Signal
from wandering_tape import FINE, RATE, played, some_bits


@pytest.mark.parametrize("wow_hz", [0.5, 4.0, 10.0])
@pytest.mark.parametrize("speed", [-0.08, 0.0, 0.08])
@pytest.mark.parametrize(
    "arguments",
    [
        {},
        {"variant": "space", "tracks": "split"},
        {"variant": "level", "bit_rate_hz": 300, "tracks": "left"},
        {"bit_rate_hz": 4000, "tracks": "split"},
        {"variant": "level", "bit_rate_hz": 8000},
    ],
)
def test_speed_error_and_wow_cost_nothing(arguments, speed, wow_hz):
    code = Biphase(leader_s=0.5, **arguments)
    bits = some_bits(int(1.2 * code.bit_rate_hz), 1)
    samples, _ = played(code, bits, speed, 0.01, wow_hz, phase=1.0)
    heard = code.demodulate(Signal(samples, RATE))
    assert np.array_equal(heard.bits[: bits.size], bits)


def test_the_speed_is_told():
    samples, _ = played(Biphase(), some_bits(600, 2), speed=-0.06)
    told = next(str(event) for event in Biphase().demodulate(Signal(samples, RATE)).events if "speed" in str(event))
    assert float(told.split("speed")[1].split("%")[0]) == pytest.approx(-6, abs=0.05)


@pytest.mark.parametrize("gap_ms", [5, 10, 20, 35, 50])
@pytest.mark.parametrize("wow_hz", [0.5, 4.0, 10.0])
@pytest.mark.parametrize("arguments", [{}, {"variant": "level", "bit_rate_hz": 2400, "tracks": "split"}])
@pytest.mark.parametrize("left_over", [0.0, 0.03])
def test_a_dropout_costs_only_its_own_bits(arguments, wow_hz, gap_ms, left_over):
    """1 % wow: what is left in the gap says nothing of the speed there, and still no bit is lost from the count."""
    code = Biphase(leader_s=0.5, **arguments)
    bits = some_bits(int(1.5 * code.bit_rate_hz), 3)
    samples, tape_s = played(code, bits, 0.0, 0.01, wow_hz, phase=2.0)
    times = np.arange(samples.shape[1]) / RATE
    lost = (times > 1.0) & (times < 1.0 + gap_ms / 1000)
    samples[:, lost] *= left_over
    samples += np.random.default_rng(4).normal(0, 0.003, samples.shape).astype(np.float32)
    heard = code.demodulate(Signal(samples, RATE))
    width = 2 if code.tracks == "split" else 1
    cell = 1 / code.bit_rate_hz
    middles = (round(0.5 * code.bit_rate_hz) + 32 + np.arange(bits.size) // width + 0.5) * cell
    place = np.interp(middles, tape_s, times)
    hit = (place > 1.0 - cell) & (place < 1.0 + gap_ms / 1000 + cell)
    assert 0 < hit.sum() < bits.size
    assert np.array_equal(heard.bits[: bits.size][~hit], bits[~hit])
    deep = (place > 1.0 + 6 * cell) & (place < 1.0 + gap_ms / 1000 - 6 * cell)
    assert not heard.values[: bits.size][deep].any(), "what was not heard must read exactly 0"
    assert np.abs(heard.times_s[: bits.size][~hit] - place[~hit]).max() < 0.1 * cell


@pytest.mark.parametrize("tracks", ["same", "split"])
def test_a_long_dropout_on_one_track_leaves_the_clock_to_the_other(tracks):
    code = Biphase(tracks=tracks, leader_s=0.5)
    bits = some_bits(2400, 5)
    samples = code.modulate(bits).samples.copy()
    samples[0, RATE : RATE * 3 // 2] = 0
    heard = code.demodulate(Signal(samples, RATE))
    wrong = heard.bits[: bits.size] != bits
    assert not wrong[1::2].any()
    inside = (heard.times_s[: bits.size] > 0.999) & (heard.times_s[: bits.size] < 1.501)
    assert not wrong[~inside].any()
    assert wrong.any() == (tracks == "split")


@pytest.mark.parametrize("half_cells", [1, -1])
@pytest.mark.parametrize("seed", range(4))
def test_a_slip_of_half_a_cell_is_noticed(half_cells, seed):
    """A splice that takes out, or doubles, half a cell: the bits after it are right again within 40 cells, give or
    take the one cell that a half must be rounded to.
    """
    code = Biphase(bit_rate_hz=1225)
    bits = some_bits(1200, seed)
    samples = code.modulate(bits).samples
    cut = RATE * 3 // 2 + 37 * seed
    spliced = np.concatenate((samples[:, :cut], samples[:, cut + 18 * half_cells :]), axis=1)
    heard = code.demodulate(Signal(spliced, RATE))
    at = int(cut / RATE * 1225) - 1225 - 32
    assert np.array_equal(heard.bits[: at - 10], bits[: at - 10])
    rest = bits[at + 40 : 1190]
    found = [np.array_equal(heard.bits[at + 40 + shift :][: rest.size], rest) for shift in (-1, 0, 1)]
    assert sum(found) == 1


@pytest.mark.parametrize("tracks", ["same", "split"])
@pytest.mark.parametrize("bit_rate_hz", [1200, 4000, 8000])
@pytest.mark.parametrize("lag_us", [-170, -60, 60, 170])
def test_skew_between_the_tracks_costs_nothing(tracks, bit_rate_hz, lag_us):
    """170 us: an azimuth error of 31 arcmin over 0.9 mm between track centres at 47.6 mm/s."""
    code = Biphase(bit_rate_hz=bit_rate_hz, tracks=tracks, leader_s=0.3)
    bits = some_bits(800, 6)
    samples = code.modulate(bits, FINE).samples
    lag = round(abs(lag_us) * 1e-6 * FINE)
    early, late = (0, 1) if lag_us > 0 else (1, 0)
    skewed = np.empty((2, samples.shape[1] - lag), np.float32)
    skewed[early] = samples[early, lag:]
    skewed[late] = samples[late, : samples.shape[1] - lag]
    assert np.array_equal(code.demodulate(Signal(skewed, FINE)).bits[:800], bits)


@pytest.mark.parametrize("wow_hz", [2.0, 6.0, 10.0])
def test_a_gap_is_bridged_along_the_course_of_the_speed(wow_hz):
    """1 % wow through a gap of 50 ms at 1,200 changes a second, against the exact times."""
    tape_s = np.arange(1200) / 1200
    times = np.arange(0, 1.2, 1e-5)
    turn = 2 * np.pi * wow_hz
    exact = np.interp(tape_s, times + 0.01 / turn * np.sin(turn * times), times)
    bridged = times_between(exact[:500], exact[560:], 1200)
    assert bridged.size == 60
    assert np.abs(bridged - exact[500:560]).max() < 0.05 / 1200
