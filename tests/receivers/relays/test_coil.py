"""Coils against the textbook exponentials and the worked figures of relay data sheets and application notes."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp
from tapewright.contracts.errors import UsageError
from tapewright.receivers.relays.coil import CLAMPS, Clamp, Coil, copper

TWELVE_VOLT_360 = {"resistance_ohm": 360.0, "released_h": 1.0, "operated_h": 1.0}


def coil_with_share(pick_up: float, drop_out: float, resistance: float, henry: float, volts: float = 12.0) -> Coil:
    return Coil(resistance, henry, henry, pick_up * volts / resistance, drop_out * volts / resistance)


# Closed form t = -tau ln(1 - x): standard first-order response.
@pytest.mark.parametrize(
    ("share", "taus"),
    [(0.5, 0.693147), (0.6, 0.916291), (0.7, 1.203973), (0.75, 1.386294), (0.8, 1.609438), (0.9, 2.302585)],
)
def test_pick_up_takes_the_textbook_number_of_time_constants(share: float, taus: float) -> None:
    assert coil_with_share(share, 0.1, 360.0, 1.8).rise_s(12.0) / (1.8 / 360) == pytest.approx(taus, rel=1e-6)


# Overdrive m = V / V_n with pick-up at 75 % of V_n: same closed form.
@pytest.mark.parametrize(
    ("overdrive", "taus"),
    [(0.8, 2.77259), (0.9, 1.79176), (1.0, 1.38629), (1.1, 1.14513), (1.2, 0.98083), (1.5, 0.69315), (2.0, 0.47)],
)
def test_overdrive_shortens_pick_up(overdrive: float, taus: float) -> None:
    coil = coil_with_share(0.75, 0.1, 360.0, 1.0)
    assert coil.rise_s(12.0 * overdrive) / (1.0 / 360) == pytest.approx(taus, rel=2e-5)


# Measured-type coil data (12 V, 275 ohm, 1.15 H released, 2.29 H operated): relay application note.
@pytest.mark.parametrize(("share", "ms"), [(0.70, 5.0348), (0.75, 5.7972), (0.80, 6.7304)])
def test_pick_up_of_a_measured_coil(share: float, ms: float) -> None:
    coil = Coil(275.0, 1.15, 2.29, share * 12 / 275, 0.004)
    assert 1e3 * coil.rise_s(12.0) == pytest.approx(ms, abs=5e-5)


# Worked coils by Ohm's law and L/R (textbook): volts, ohm, henry; time constant, current, power, stored energy and time
# to 75 % of the rated current. The last is the measured-type coil of the application note, released.
@pytest.mark.parametrize(
    ("volts", "ohm", "henry", "tau_ms", "ma", "watts", "mj", "pick_up_ms"),
    [
        (12, 360, 1.0, 2.7778, 33.333, 0.4, 0.5556, 3.8508),
        (12, 360, 1.8, 5.0, 33.333, 0.4, 1.0, 6.9315),
        (24, 1440, 4.0, 2.7778, 16.667, 0.4, 0.5556, 3.8508),
        (12, 275, 1.15, 4.1818, 43.636, 0.5236, 1.0949, 5.7972),
    ],
)
def test_worked_coils(
    volts: float, ohm: float, henry: float, tau_ms: float, ma: float, watts: float, mj: float, pick_up_ms: float
) -> None:
    rated_a = volts / ohm
    coil = Coil(ohm, henry, henry, 0.75 * rated_a, rated_a / math.e)
    assert 1e3 * coil.rise_s(volts) == pytest.approx(pick_up_ms, abs=6e-5)
    # Into a short circuit the current falls to 1/e of itself in one time constant; what it heats is what was stored.
    short = Clamp("resistor", resistor_ohm=1e-9)
    assert 1e3 * coil.decay_s(rated_a, short) == pytest.approx(tau_ms, abs=6e-5)
    assert 1e3 * rated_a == pytest.approx(ma, abs=6e-4)
    assert volts * rated_a == pytest.approx(watts, abs=6e-5)
    assert 500 * coil.decay_s(rated_a, short) * ohm * rated_a**2 == pytest.approx(mj, abs=6e-5)


def test_the_operated_coil_lets_go_by_its_longer_time_constant() -> None:
    # 2.29 H over 275 ohm: 8.3273 ms (same note).
    coil = Coil(275.0, 1.15, 2.29, 0.03, 12 / 275 / math.e)
    assert 1e3 * coil.decay_s(12 / 275, Clamp("resistor", resistor_ohm=1e-9)) == pytest.approx(8.3273, abs=6e-5)


# Closed form of the clamped decay, drop-out at 10 % of the rated current; the first column (no voltage) is a
# short circuit, which a resistor of vanishing size stands for.
@pytest.mark.parametrize(
    ("henry", "clamp", "ms"),
    [
        (1.0, Clamp("resistor", resistor_ohm=1e-9), 6.3961),
        (1.0, Clamp("diode"), 5.2771),
        (1.0, Clamp("diode_zener", zener_v=12.0), 1.5970),
        (1.0, Clamp("diode_zener", zener_v=24.0), 0.9681),
        (1.8, Clamp("resistor", resistor_ohm=1e-9), 11.5129),
        (1.8, Clamp("diode"), 9.4987),
        (1.8, Clamp("diode_zener", zener_v=12.0), 2.8746),
        (1.8, Clamp("diode_zener", zener_v=24.0), 1.7427),
        (1.0, Clamp("resistor", resistor_ohm=360.0), 3.1980),
    ],
)
def test_release_through_each_clamp(henry: float, clamp: Clamp, ms: float) -> None:
    coil = coil_with_share(0.75, 0.1, 360.0, henry)
    # The figures of the table are to 4 decimals of a millisecond; the nanoohm resistor costs less than that.
    assert 1e3 * coil.decay_s(12 / 360, clamp) == pytest.approx(ms, abs=6e-5)


@pytest.mark.parametrize(
    ("clamp", "ms"),
    [
        (Clamp("resistor", resistor_ohm=1e-9), 10.0258),
        (Clamp("diode"), 9.0183),
        (Clamp("diode_zener", zener_v=12.0), 3.4611),
        (Clamp("diode_zener", zener_v=24.0), 2.1644),
    ],
)
def test_release_of_a_measured_coil_at_thirty_percent(clamp: Clamp, ms: float) -> None:
    coil = Coil(275.0, 1.15, 2.29, 0.75 * 12 / 275, 0.3 * 12 / 275)
    assert 1e3 * coil.decay_s(12 / 275, clamp) == pytest.approx(ms, abs=6e-5)


# R1 = R0 (1 + 0.003929 (T1 - T0)) for copper at 20 C; the linear 0.00393 column of makers' notes to 4 digits.
@pytest.mark.parametrize(
    ("celsius", "ratio"), [(-40, 0.76420), (0, 0.92140), (40, 1.07860), (60, 1.15720), (85, 1.25545)]
)
def test_copper_follows_temperature(celsius: float, ratio: float) -> None:
    assert copper(1.0, celsius) == pytest.approx(ratio, abs=1e-4)


def test_copper_agrees_with_the_exact_form() -> None:
    # (234.5 + T1)/(234.5 + T0): maker's application note, 320 ohm at 25 C becomes 443.3 ohm at 125 C.
    at_20 = 320.0 * (234.5 + 20) / (234.5 + 25)
    assert copper(at_20, 125.0) == pytest.approx(443.3, abs=0.1)
    assert 13.0 * copper(at_20, 125.0) / 320.0 == pytest.approx(18.0, abs=0.02)  # and its pick-up 18.0 V instead of 13
    assert copper(90.0, 85.0) == pytest.approx(112.985, abs=2e-3)
    assert 6.5 * copper(1.0, 85.0) == pytest.approx(8.160, abs=1e-3)  # pick-up voltage scales with R
    assert 9.0 * copper(1.0, 70.0) == pytest.approx(10.769, abs=2e-3)


def test_an_unclamped_coil_kicks_and_a_clamped_one_does_not() -> None:
    # Rated current of the measured coil; a current that stops in 0.5 ms gives 12 + L di/dt = 211.85 V (makers' notes
    # print 211.7): the reason for the clamp.
    current = 12 / 275
    assert 12 + 2.29 * current / 0.5e-3 == pytest.approx(211.85, abs=0.02)
    assert Clamp("diode").kick_v(current) == pytest.approx(0.7)
    assert Clamp("diode_zener", zener_v=24).kick_v(current) == pytest.approx(24.7)
    assert Clamp("resistor", resistor_ohm=680).kick_v(current) == pytest.approx(29.67, abs=0.01)
    assert Clamp("none").kick_v(current) > 120  # beyond the extra-low voltage limit for DC (IEC 61140)


@given(
    st.floats(50, 4000),
    st.floats(0.05, 20),
    st.floats(1.0, 2.5),
    st.floats(0.3, 0.8),
    st.floats(0.05, 0.25),
    st.floats(5, 48),
    st.sampled_from(CLAMPS[1:]),
)
def test_the_closed_forms_agree_with_an_ode_solver(
    ohm: float, henry: float, ratio: float, pick: float, drop: float, volts: float, kind: str
) -> None:
    coil = Coil(ohm, henry, henry * ratio, pick * volts / ohm, drop * volts / ohm)
    clamp = Clamp(kind, zener_v=15.0, resistor_ohm=2 * ohm)

    def crossing(derivative, start: float, level: float, direction: int) -> float:  # type: ignore[no-untyped-def]
        event = lambda t, i: i[0] - level  # noqa: E731
        event.terminal, event.direction = True, direction
        run = solve_ivp(derivative, (0, 50 * henry * ratio / ohm), [start], events=event, rtol=1e-9, atol=1e-12)
        return float(run.t_events[0][0])

    rise = crossing(lambda t, i: (volts - ohm * i) / henry, 0.0, coil.pick_up_a, 1)
    fall = crossing(
        lambda t, i: -(clamp.volts + (ohm + clamp.ohms) * i) / coil.operated_h, volts / ohm, coil.drop_out_a, -1
    )
    assert coil.rise_s(volts) == pytest.approx(rise, rel=1e-5)
    assert coil.decay_s(volts / ohm, clamp) == pytest.approx(fall, rel=1e-5)


def test_what_never_picks_up_takes_for_ever_and_what_never_held_lets_go_at_once() -> None:
    coil = coil_with_share(0.75, 0.1, 360.0, 1.0)
    assert coil.rise_s(8.9) == math.inf
    assert coil.rise_s(0.0) == math.inf
    assert coil.decay_s(0.001, Clamp("diode")) == 0.0


@pytest.mark.parametrize(
    ("change", "text"),
    [
        ({"drop_out_a": 0.03}, "release current must be below the pick-up"),
        ({"released_h": -1.0}, "'released_h' must be above 0, not -1"),
        ({"resistance_ohm": float("nan")}, "'resistance_ohm' must be above 0"),
    ],
)
def test_impossible_coils_are_refused(change: dict[str, float], text: str) -> None:
    figures = {**TWELVE_VOLT_360, "pick_up_a": 0.025, "drop_out_a": 0.004, **change}
    with pytest.raises(UsageError, match=text):
        Coil(**figures)


@pytest.mark.parametrize("clamp", [("spark", 0, 0), ("diode_zener", 0, 0), ("resistor", 0, 0)])
def test_impossible_clamps_are_refused(clamp: tuple[str, float, float]) -> None:
    with pytest.raises(UsageError, match="clamp: "):
        Clamp(*clamp)
