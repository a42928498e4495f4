"""The tone filter: against the textbook's resonance, a general solver, and the harmonics of a square wave."""

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from tapewright.contracts.signal import Signal
from tapewright.receivers.relays.tone_filter import FilterKind, ToneFilter

RATE = 44_100
KIND = FilterKind(quality=6.0, tuning=0.02, gain=1.0, inductance_h=0.022)
LINEAR = ToneFilter(4000.0, 6.0, 1.0, 100.0)
LIMITING = ToneFilter(4000.0, 6.0, 150.0, 16.0)


def tone(hertz, seconds=0.05, amplitude=0.5):
    return Signal(amplitude * np.sin(2 * np.pi * hertz * np.arange(int(seconds * RATE)) / RATE), RATE)


def settled_peak(filtered, hertz):
    """Amplitude of that frequency over the last 20 ms: the projection on it."""
    tail = filtered.samples[0, -int(0.02 * RATE) :].astype(np.float64)
    turns = 2j * np.pi * hertz * np.arange(tail.size) / RATE
    return 2 * abs(np.mean(tail * np.exp(-turns)))


@pytest.mark.parametrize("hertz", [1000, 2000, 3600, 4000, 4400, 8000])
def test_a_steady_sine_passes_as_the_resonance_curve_says(hertz):
    """1/sqrt(1 + Q^2 (f/f0 - f0/f)^2), textbook; at f0 = 4 kHz, Q = 6 by hand: 2 and 8 kHz 1/sqrt(82) = 0.1104.

    Straight lines between samples weaken a tone by sinc^2(f / rate): 1.6 % at 4 kHz, 7 % at 8.
    """
    heard = settled_peak(LINEAR.passed(tone(hertz), 0), hertz) / 0.5
    by_formula = 1 / math.sqrt(1 + (6.0 * (hertz / 4000 - 4000 / hertz)) ** 2)
    assert LINEAR.response(hertz) == pytest.approx(by_formula)
    assert heard == pytest.approx(by_formula * np.sinc(hertz / RATE) ** 2, rel=0.02)


def test_a_burst_rises_with_twice_q_over_the_resonance():
    """The envelope of a resonance reaches 1 - 1/e after 2 Q / w0 = 0.477 ms (textbook)."""
    envelope = np.abs(LINEAR.passed(tone(4000), 0).samples[0])
    full = envelope[-400:].max()
    reached = np.flatnonzero(envelope >= (1 - math.exp(-1)) * full)[0] / RATE
    assert reached == pytest.approx(2 * 6.0 / (2 * np.pi * 4000), abs=1.1 / 8000)  # peaks are half a period apart


def test_the_wave_is_that_of_a_general_solver_on_the_circuit():
    """R, L and C themselves, behind a limiter, by solve_ivp: C dv/dt = (e - v)/R - i, L di/dt = v."""
    farad, ohm = KIND.capacitance_f(4000.0), KIND.resistance_ohm(4000.0)
    sound = tone(2000, 0.01)
    wave = sound.samples[0].astype(np.float64)

    def limited(time_s):
        return np.clip(150.0 * np.interp(time_s, np.arange(wave.size) / RATE, wave), -16.0, 16.0)

    def slope(time_s, state):
        volts, amps = state
        return [((limited(time_s) - volts) / ohm - amps) / farad, volts / KIND.inductance_h]

    times = np.arange(1, wave.size) / RATE
    solved = solve_ivp(slope, (0, times[-1]), [0.0, 0.0], t_eval=times, max_step=2e-6).y[0]
    heard = LIMITING.passed(sound, 0).samples[0, 1:]
    assert np.abs(heard - solved).max() < 0.02 * np.abs(solved).max() + 0.1


def test_of_a_limited_tone_the_octave_hears_a_ninth_and_the_twelfth_its_third_harmonic():
    """A square wave of 16 V has a fundamental of 4/pi of that, a third harmonic of a third, no second (Fourier)."""
    square_v = 16.0 * 4 / math.pi
    at_octave = settled_peak(LIMITING.passed(tone(2000), 0), 2000)
    assert at_octave == pytest.approx(square_v * LIMITING.response(2000), rel=0.05)
    third = settled_peak(LIMITING.passed(tone(4000 / 3), 0), 4000)
    assert third == pytest.approx(square_v / 3, rel=0.08)


def test_parts_of_the_circuit_by_hand():
    """C = 1/(w^2 L): 72.0 nF at 4 kHz and 22 mH; R = Q w L = 3318 ohm."""
    assert KIND.capacitance_f(4000.0) == pytest.approx(71.96e-9, rel=1e-3)
    assert KIND.resistance_ohm(4000.0) == pytest.approx(3317.5, rel=1e-3)


def test_blocks_do_not_show_and_no_sound_gives_none(monkeypatch):
    import tapewright.receivers.relays.tone_filter as module

    whole = LIMITING.passed(tone(3900), 0).samples
    monkeypatch.setattr(module, "BLOCK_FRAMES", 100)
    assert np.array_equal(LIMITING.passed(tone(3900), 0).samples, whole)
    assert LIMITING.passed(Signal(np.zeros((2, 0), np.float32), RATE), 0).frames == 0
