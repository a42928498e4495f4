"""The front end against a general ODE solver, the handbook formulae for ripple and rise, and its own energy book."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp
from scipy.linalg import expm
from tapewright.contracts.errors import UsageError
from tapewright.contracts.signal import Signal
from tapewright.kernels import rectified_coil as kernel
from tapewright.receivers.relays import circuit, listening
from tapewright.receivers.relays.coil import Clamp, Coil
from tapewright.receivers.relays.front_end import Armature, FrontEnd
from tapewright.receivers.relays.listening import listen, trace
from tapewright.receivers.relays.reservoir import largest_reservoir_f, release_s

RATE = 44_100
NEVER = Armature(1.0, 1.0)


def still(resistance: float, henry: float) -> Coil:
    """A coil whose armature never moves, so that the circuit alone is seen."""
    return Coil(resistance, henry, henry, 1e6, 1e5)


def tone(hertz: float, seconds: float, burst_s: float = math.inf, amplitude: float = 1.0, rate: int = RATE) -> Signal:
    times = np.arange(int(seconds * rate)) / rate
    return Signal(np.where(times < burst_s, amplitude * np.sin(2 * np.pi * hertz * times), 0.0), rate)


def solve(signal: Signal, front_end: FrontEnd, coil: Coil) -> tuple[np.ndarray, np.ndarray]:
    """Voltage and current at each frame by a stiff ODE solver; the same straight lines between samples."""
    times = np.arange(1, signal.frames + 1) / signal.sample_rate_hz
    knots = np.concatenate([[0.0], signal.samples[0].astype(float)])
    gain = front_end.gain_v * front_end.transformer_ratio
    clip = front_end.clip_v * front_end.transformer_ratio

    def derivative(t: float, x: np.ndarray) -> list[float]:
        u = float(np.clip(gain * np.interp(t, np.concatenate([[0.0], times]), knots), -clip, clip))
        e = (u if front_end.rectifier == "half" else abs(u)) - front_end.drop_v
        diode = max(e - x[0], 0.0) / front_end.source_ohm
        # The freewheeling path is a steep diode at the floor.
        wheel = max(front_end.floor_v - x[0], 0.0) / 0.05
        return [
            (diode + wheel - x[1]) / front_end.reservoir_f,
            (x[0] - coil.resistance_ohm * x[1]) / coil.released_h,
        ]

    run = solve_ivp(
        derivative, (0, times[-1]), [0.0, 0.0], "LSODA", t_eval=times, rtol=1e-7, atol=1e-9, max_step=0.5 / RATE
    )
    return run.y[0], run.y[1]


@settings(max_examples=8)
@given(
    st.sampled_from(["half", "bridge", "centre_tap"]),
    st.floats(1e-6, 50e-6),
    st.floats(4.0, 60.0),
    st.floats(800.0, 3500.0),
    st.floats(100.0, 1000.0),
    st.floats(0.3, 4.0),
    st.sampled_from([1.0, 2.0]),
)
@example("half", 1e-6, 4.0, 1791.0, 300.0, 1.0, 1.0)
@example("bridge", 1e-6, 4.0, 2975.0, 340.0, 1.35, 1.0)
def test_voltage_and_current_agree_with_an_ode_solver(
    rectifier: str, farad: float, source: float, hertz: float, ohm: float, henry: float, ratio: float
) -> None:
    front_end = FrontEnd(
        40.0, 18.0, source, ratio, 3.0, rectifier=rectifier, freewheel_diode=rectifier != "bridge", reservoir_f=farad
    )
    signal = tone(hertz, 0.03, burst_s=0.015)
    coil = still(ohm, henry)
    volts, amperes = solve(signal, front_end, coil)
    ours = trace(signal, 0, front_end, coil, NEVER)
    # The mode is decided once a part of a sample; what is left is second order in that part: 1.5 % of the peak for the
    # voltage (it may switch within a part), 0.5 % for the current, which the coil smooths. A reservoir quicker than
    # three parts follows the sine and lets it go up to a part late, by what the sine falls meanwhile.
    part_s = 1 / (RATE * circuit.parts_a_sample(RATE))
    quick = source * farad < 3 * part_s
    assert np.abs(ours.reservoir_v - volts).max() < (2 * np.pi * hertz * part_s if quick else 0.015) * front_end.peak_v
    assert np.abs(ours.current_a - amperes).max() < (0.01 if quick else 0.005) * amperes.max()


# V_pp = I/(fC) half wave and I/(2fC) full wave (power-supply handbooks) overstate, because discharge ends early. The
# exact constant-current figures: 1 kHz, 33.33 mA, ideal diodes, 12 V peak.
@pytest.mark.parametrize(
    ("rectifier", "hertz", "amperes", "farad", "handbook", "exact"),
    [
        ("half", 1000, 12 / 360, 100e-6, 0.33333, 0.32092),
        ("centre_tap", 1000, 12 / 360, 100e-6, 0.16667, 0.15793),
        ("centre_tap", 1000, 12 / 360, 10e-6, 1.66667, 1.39645),
        ("centre_tap", 3000, 12 / 360, 10e-6, 0.55556, 0.50288),
        ("half", 50, 0.1, 2200e-6, 0.90909, 0.85333),
        ("centre_tap", 50, 0.1, 2200e-6, 0.45455, 0.41549),
    ],
)
def test_reservoir_ripple_is_the_handbooks(
    rectifier: str, hertz: float, amperes: float, farad: float, handbook: float, exact: float
) -> None:
    assert handbook == pytest.approx(amperes / (hertz * farad * (1 if rectifier == "half" else 2)), rel=1e-4)
    # A coil of 100,000 H holds the current that it starts with. A source of a milliohm lets the reservoir follow the
    # sine down until the end of the part in which it should have let go, so the parts are 1.3 us here.
    front_end = FrontEnd(12.0, 1e3, 1e-3, rectifier=rectifier, diode_v=0.0, reservoir_f=farad)
    rate = 768_000
    signal = tone(hertz, max(0.05, 8 / hertz), rate=rate)
    coil = still(1e-9, 1e5)
    state = np.zeros(kernel.STATES)
    state[kernel.STATE_I] = amperes
    rows = np.zeros((signal.frames, 3))
    none = np.zeros(0)
    kernel.follow_coil(
        signal.samples[0],
        circuit.figures_of(front_end, coil, NEVER, rate, circuit.parts_a_sample(rate)),
        state,
        circuit.parts_a_sample(rate),
        none.astype(np.int64),
        none.astype(np.int8),
        none,
        rows,
    )
    settled = rows[signal.frames // 2 :]
    assert settled[:, 1] == pytest.approx(amperes, rel=1e-3)  # the coil did hold its current
    measured = np.ptp(settled[:, 0])
    assert measured == pytest.approx(exact, rel=0.01)
    assert measured < handbook


# One-pole envelope after a full-wave rectifier: ripple peak over DC = (2/3)/sqrt(1 + (4 pi f tau)^2), the first term of
# the Fourier series of |sin| through L/R; rise 10-90 % = tau ln 9. Here L/R is the pole and the source is stiff.
@pytest.mark.parametrize(
    ("tau_s", "hertz", "ripple"), [(5e-3, 3000, 0.003537), (2e-3, 1000, 0.026505), (1e-3, 3000, 0.017678)]
)
def test_coil_without_reservoir_is_the_one_pole_envelope(tau_s: float, hertz: float, ripple: float) -> None:
    assert ripple == pytest.approx((2 / 3) / math.hypot(1, 4 * math.pi * hertz * tau_s), rel=1e-3)
    rate = 192_000
    front_end = FrontEnd(12.0, 1e3, 0.01, rectifier="centre_tap", diode_v=0.0)
    run = trace(tone(hertz, 12 * tau_s, rate=rate), 0, front_end, still(400.0, 400.0 * tau_s), NEVER)
    settled = run.current_a[-int(4 * rate / hertz) :]
    assert settled.mean() == pytest.approx(12.0 * 2 / math.pi / 400.0, rel=2e-3)  # full-wave mean 2/pi of the peak
    # Amplitude of the second harmonic, by projection over whole periods.
    spin = np.exp(-4j * np.pi * hertz / rate * np.arange(settled.size))
    second = 2 * abs((settled * spin).mean())
    assert second / settled.mean() == pytest.approx(ripple, rel=0.02)
    # 10-90 % on the mean over one period of the ripple; the window of 1/(2f) adds nothing to the difference.
    width = int(rate / (2 * hertz))
    smooth = np.convolve(run.current_a, np.full(width, 1 / width), "valid") / settled.mean()
    rise = (np.argmax(smooth >= 0.9) - np.argmax(smooth >= 0.1)) / rate
    assert rise == pytest.approx(tau_s * math.log(9), rel=0.03)


def test_textbook_means_of_rectified_sine() -> None:
    # 2/pi and 1/pi of the peak (textbook); a 12 V coil at 75 % pick-up needs a full-wave mean of 9 V: 14.137 V peak.
    coil = Coil(275.0, 1.0, 1.0, 9.0 / 275, 0.1 * 12 / 275)
    for peak, comes_in in ((14.137 * 1.01, True), (14.137 * 0.99, False)):
        front_end = FrontEnd(peak, 1e3, 0.01, rectifier="centre_tap", diode_v=0.0)
        events = listen(tone(3000, 0.2, rate=192_000), 0, front_end, coil, Armature(2e-3, 2e-3))
        assert (kernel.MAKE_CLOSES in events.kinds) is comes_in


# A rectified sine of peak 1 (textbook): mean, rms, ripple factor sqrt(rms^2 - mean^2)/mean, and the amplitudes of its
# first, second and fourth harmonic.
@pytest.mark.parametrize(
    ("rectifier", "mean", "rms", "ripple", "harmonics"),
    [
        ("centre_tap", 0.63661977, 0.70710678, 0.48342585, (0.0, 0.42441318, 0.08488264)),
        ("half", 0.31830989, 0.5, 1.21136332, (0.5, 0.21220659, 0.04244132)),
    ],
)
def test_a_rectified_sine_has_the_textbooks_shape(
    rectifier: str, mean: float, rms: float, ripple: float, harmonics: tuple[float, ...]
) -> None:
    rate, hertz = 192_000, 1_000
    # A coil of no inductance to speak of shows the rectifier's voltage as its current.
    front_end = FrontEnd(1.0, 1e3, 1e-2, rectifier=rectifier, diode_v=0.0)
    run = trace(tone(hertz, 0.02, rate=rate), 0, front_end, still(100.0, 1e-4), NEVER)
    settled = 100.0 * run.current_a[-5 * rate // hertz :]
    measured_rms = float(np.sqrt((settled**2).mean()))
    assert settled.mean() == pytest.approx(mean, rel=5e-3)
    assert measured_rms == pytest.approx(rms, rel=5e-3)
    assert math.sqrt(measured_rms**2 - settled.mean() ** 2) / settled.mean() == pytest.approx(ripple, rel=1e-2)
    if rectifier == "centre_tap":
        assert measured_rms / settled.mean() == pytest.approx(1.11072073, rel=5e-3)  # form factor
    for order, amplitude in zip((1, 2, 4), harmonics, strict=True):
        spin = np.exp(-2j * np.pi * order * hertz / rate * np.arange(settled.size))
        assert 2 * abs((settled * spin).mean()) == pytest.approx(amplitude, abs=4e-3)


# Levels (definitions: 0 dBu is 1 mW in 600 ohm, 0 dBV is 1 V, both rms): none of them moves a 12 V coil by itself,
# which needs 14.137 V of peak at 75 % pick-up.
@pytest.mark.parametrize(
    ("rms", "volts", "comes_in"),
    [
        (math.sqrt(0.6), 0.774597, False),
        (math.sqrt(0.6) * 10 ** (4 / 20), 1.227653, False),
        (10 ** (-10 / 20), 0.316228, False),
        (math.sqrt(1.0 * 8.0), 2.828427, False),
        (0.99 * 9.0 * math.pi / 2 / math.sqrt(2), 0.99 * 9.996, False),
        (1.01 * 9.0 * math.pi / 2 / math.sqrt(2), 1.01 * 9.996, True),
    ],
    ids=["0 dBu", "+4 dBu", "-10 dBV", "1 W in 8 ohm", "just below", "just above"],
)
def test_line_levels_and_a_watt_do_not_move_a_twelve_volt_coil(rms: float, volts: float, comes_in: bool) -> None:
    assert rms == pytest.approx(volts, rel=1e-4)
    coil = Coil(275.0, 1.0, 1.0, 9.0 / 275, 0.1 * 12 / 275)
    front_end = FrontEnd(math.sqrt(2) * rms, 1e3, 0.01, rectifier="centre_tap", diode_v=0.0)
    events = listen(tone(3000, 0.2, rate=192_000), 0, front_end, coil, Armature(2e-3, 2e-3))
    assert (kernel.MAKE_CLOSES in events.kinds) is comes_in


def test_release_is_second_order_and_slower_with_a_larger_reservoir() -> None:
    coil, armature = Coil(275.0, 1.15, 2.29, 0.026, 0.008), Armature(5e-3, 3e-3)
    front_end = FrontEnd(40.0, 18.0, 8.0)
    times = [
        release_s(replace(front_end, reservoir_f=farad), coil, armature, 3000, 0.03)
        for farad in (0.0, 1e-6, 10e-6, 47e-6)
    ]
    assert times == sorted(times)
    # Without a reservoir the bridge freewheels at two drops: the closed form of a clamped decay from the current of
    # the moment, plus the travel.
    run = trace(tone(3000, 0.031, burst_s=0.03), 0, front_end, coil, armature)
    start = run.current_a[int(0.03 * RATE)]
    expected = coil.decay_s(float(start), Clamp("diode_zener", zener_v=0.7)) + armature.travel_out_s
    assert times[0] == pytest.approx(expected, abs=0.2e-3)


def test_largest_reservoir_lets_go_in_time_and_a_larger_one_does_not() -> None:
    coil, armature = Coil(275.0, 1.15, 2.29, 0.026, 0.008), Armature(5e-3, 3e-3)
    front_end = FrontEnd(40.0, 18.0, 8.0)
    farad = largest_reservoir_f(front_end, coil, armature, 3000, 0.03, 0.02)
    assert farad is not None
    assert release_s(replace(front_end, reservoir_f=farad), coil, armature, 3000, 0.03) <= 0.02
    assert release_s(replace(front_end, reservoir_f=1.05 * farad), coil, armature, 3000, 0.03) > 0.02
    assert largest_reservoir_f(front_end, coil, armature, 3000, 0.03, 0.004) is None


def test_the_length_of_a_part_does_not_matter(monkeypatch: pytest.MonkeyPatch) -> None:
    coil, armature = Coil(275.0, 1.15, 2.29, 0.026, 0.008), Armature(5e-3, 3e-3)
    for hertz in (1000, 3000):
        for front_end in (
            FrontEnd(40.0, 18.0, 8.0, reservoir_f=10e-6),
            FrontEnd(40.0, 18.0, 8.0, rectifier="half", freewheel_diode=True, reservoir_f=10e-6),
        ):
            signal = tone(hertz, 0.1, burst_s=0.05, amplitude=0.6)
            ours = listen(signal, 0, front_end, coil, armature)
            with monkeypatch.context() as patch:
                patch.setattr(listening, "parts_a_sample", lambda rate: 64)
                finer = listen(signal, 0, front_end, coil, armature)
            assert ours.kinds.tolist() == finer.kinds.tolist()
            assert np.abs(ours.times_s - finer.times_s).max() <= 1.01 / RATE


def test_operate_time_is_rise_plus_travel_and_bounce_is_no_part_of_it() -> None:
    # Operate time = coil energised to the last contact's change, bounce not included (relay standard's terms): a stiff
    # constant 12 V gives the closed-form rise plus the travel.
    coil, armature = Coil(275.0, 1.15, 1.15, 0.75 * 12 / 275, 0.1 * 12 / 275), Armature(4e-3, 2e-3)
    front_end = FrontEnd(12.0, 1e3, 1e-3, rectifier="centre_tap", diode_v=0.0, reservoir_f=0.0)
    events = listen(Signal(np.ones(8820), RATE), 0, front_end, coil, armature)
    closes = events.times_s[events.kinds == kernel.MAKE_CLOSES][0]
    assert closes == pytest.approx(coil.rise_s(12.0) + 4e-3, abs=2 / RATE)


def test_a_transistor_switches_the_coil_through_its_clamp() -> None:
    coil, armature = Coil(275.0, 1.15, 1.15, 0.026, 0.008), Armature(4e-3, 2e-3)
    release = {}
    for clamp in (Clamp("diode"), Clamp("diode_zener", zener_v=24.0)):
        front_end = FrontEnd(
            5.0, 5.0, 600.0, reservoir_f=1e-6, driver="transistor", bleed_ohm=2200.0, threshold_v=1.2, clamp=clamp
        )
        run = trace(tone(3000, 0.1, burst_s=0.05, amplitude=2.0), 0, front_end, coil, armature)
        assert run.current_a.max() == pytest.approx(12.0 / 275, rel=0.01)
        assert run.current_a.min() >= 0.0
        turned_off = 0.05 + np.argmax(run.reservoir_v[int(0.05 * RATE) :] < 1.2) / RATE
        opens = release_s(front_end, coil, armature, 3000, 0.05) + 0.05
        release[clamp.kind] = opens - turned_off
        assert release[clamp.kind] == pytest.approx(coil.decay_s(12.0 / 275, clamp) + 2e-3, abs=0.3e-3)
    assert release["diode_zener"] < release["diode"]


def test_a_current_that_grazes_pick_up_chatters_or_hesitates() -> None:
    # Little smoothing and a peak just above pick-up: the armature starts and falls back, so it comes in later than
    # rise plus travel, or not at all; a firm current does neither.
    coil, armature = Coil(275.0, 0.05, 0.05, 0.026, 0.012), Armature(4e-3, 4e-3)
    front_end = FrontEnd(1.0, 1e3, 1e-3, rectifier="centre_tap", diode_v=0.0)
    arrival = []
    for peak in (11.1, 20.0):
        run = listen(tone(300, 0.1, amplitude=peak), 0, front_end, coil, armature)
        closed = run.times_s[run.kinds == kernel.MAKE_CLOSES]
        arrival.append(float(closed[0]) if closed.size else math.inf)
    assert arrival[0] > arrival[1] + 2e-3
    assert arrival[1] < 6e-3


@given(st.integers(0, 2**32 - 1), st.integers(0, 3000))
def test_listening_is_total_and_blocks_may_be_cut_anywhere(seed: int, frames: int) -> None:
    rng = np.random.default_rng(seed)
    signal = Signal(rng.normal(0, 3, (2, frames)), RATE)
    front_end = FrontEnd(40.0, 18.0, 8.0, reservoir_f=1e-6)
    coil, armature = Coil(275.0, 0.2, 0.4, 0.026, 0.008), Armature(1e-3, 1e-3)
    whole = trace(signal, 1, front_end, coil, armature)
    assert np.isfinite(whole.current_a).all()
    assert np.isfinite(whole.reservoir_v).all()
    cut = int(rng.integers(0, frames + 1))
    state = np.zeros(kernel.STATES)
    state[kernel.STATE_BREAK] = 1.0
    rows = np.zeros((frames, 3))
    for part in (slice(0, cut), slice(cut, frames)):
        kernel.follow_coil(
            signal.samples[1][part],
            circuit.figures_of(front_end, coil, armature, RATE, circuit.parts_a_sample(RATE)),
            state,
            circuit.parts_a_sample(RATE),
            np.zeros(0, np.int64),
            np.zeros(0, np.int8),
            np.zeros(0),
            rows[part],
        )
    assert np.array_equal(rows[:, 1], whole.current_a)


@given(st.floats(-3, 6), st.integers(0, 2**32 - 1))
def test_propagators_are_matrix_exponentials(magnitude: float, seed: int) -> None:
    # Reference: scipy.linalg.expm. Circuits decay, so the matrix gets a negative diagonal.
    rng = np.random.default_rng(seed)
    matrix = np.zeros((4, 4))
    matrix[:2, :2] = rng.normal(size=(2, 2)) * 0.3 - np.diag(rng.random(2) + 0.5) * 10**magnitude
    matrix[:2, 2] = rng.normal(size=2)
    matrix[2, 3] = 1.0
    assert circuit._exponential(matrix) == pytest.approx(expm(matrix), rel=1e-7, abs=1e-9)


@pytest.mark.parametrize(
    ("change", "text"),
    [
        ({"gain_v": 0.0}, "'gain_v' must be above 0"),
        ({"reservoir_f": -1e-6}, "'reservoir_f' must be at least 0"),
        ({"rectifier": "valve"}, "'rectifier' must be one of"),
        ({"driver": "magic"}, "'driver' must be one of"),
        ({"driver": "transistor", "clamp": Clamp("resistor", resistor_ohm=1.0)}, "not resistor"),
    ],
)
def test_impossible_front_ends_are_refused(change: dict[str, object], text: str) -> None:
    figures: dict[str, object] = {"gain_v": 40.0, "clip_v": 18.0, "output_ohm": 8.0, **change}
    with pytest.raises(UsageError, match=text):
        FrontEnd(**figures)  # type: ignore[arg-type]


def test_impossible_armatures_are_refused() -> None:
    with pytest.raises(UsageError, match="'travel_out_s' must be above 0, not -1"):
        Armature(1e-3, -1.0)


@pytest.mark.parametrize("turn", [0.0, 0.3, 1.0])
def test_diodes_that_recover_late_pass_the_cosine_of_their_delay(turn: float) -> None:
    # The mean of a sine whose rectifier turns over ``turn`` after its zero: 2/pi (mean of a rectified sine, textbook)
    # times cos(turn), here by the sum over half a period and not by the closed form.
    phase = turn + np.pi * (np.arange(100_000) + 0.5) / 100_000
    slow = FrontEnd(gain_v=10.0, clip_v=100.0, output_ohm=1.0, recovery_s=turn / (2 * np.pi * 3_000)).at_tone(3_000)
    assert 0.63661977 * slow.gain_v == pytest.approx(10 * np.sin(phase).mean(), rel=1e-6)
    assert slow.at_tone(3_000) == slow


@pytest.mark.parametrize(("rectifier", "change"), [("bridge", 2.0), ("centre_tap", 1.0), ("half", 1.0)])
def test_leakage_costs_what_the_change_of_the_current_costs(rectifier: str, change: float) -> None:
    # While the current changes by ``change`` times the load's (from -I to I in a bridge, else from 0 to I) the leakage
    # takes the whole voltage. Followed here in time, for a load that draws a steady I.
    henry, amps, volts, hertz, parts = 1e-3, 0.02, 10.0, 5_000.0, 200_000
    period_s = (1.0 if rectifier == "half" else 0.5) / hertz
    times = period_s * (np.arange(parts) + 0.5) / parts
    taken = volts * np.sin(2 * np.pi * hertz * times)
    changed = np.cumsum(taken) * period_s / parts / henry
    lost = taken[: int(np.argmax(changed >= change * amps))].sum() / parts
    slow = FrontEnd(volts, 2 * volts, 1.0, rectifier=rectifier, leakage_h=henry).at_tone(hertz)
    assert amps * slow.winding_ohm == pytest.approx(lost, rel=5e-3)


def test_diodes_that_conduct_both_ways_pass_nothing() -> None:
    dead = FrontEnd(10.0, 100.0, 1.0, recovery_s=100e-6).at_tone(3_000)
    assert dead.gain_v < 0.02
    with pytest.raises(UsageError, match="'recovery_s' must be at least 0, not -1e-06"):
        FrontEnd(10.0, 100.0, 1.0, recovery_s=-1e-6)
