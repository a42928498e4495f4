"""Relay sets: the ready ones against data-sheet classes, what is refused and where, draws."""

from importlib import resources
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tapewright.contracts.errors import UsageError
from tapewright.receivers.relays.coil import Clamp
from tapewright.receivers.relays.relay_set import RelaySet, load_set, ready_sets
from tapewright.receivers.relays.relay_type import QUANTITIES
from tapewright.receivers.relays.spread import TRUNCATED_AT_SD, Spread

READY = (resources.files("tapewright.receivers.relays") / "sets" / "signal_12v.toml").read_text()


def load(tmp_path: Path, text: str) -> RelaySet:
    path = tmp_path / "mine.toml"
    path.write_text(text)
    return load_set(str(path))


@pytest.mark.parametrize("name", ready_sets())
def test_ready_sets_are_titled_typical_and_of_no_maker(name: str) -> None:
    text = (resources.files("tapewright.receivers.relays") / "sets" / f"{name}.toml").read_text()
    assert "of no maker" in text
    assert "ypical figures" in text
    relays = load_set(name)
    assert relays.title
    assert relays.name == name


def test_ready_sets_are_of_the_classes_of_data_sheets() -> None:
    # DIL DPDT signal relays: 0.14 W (12 V 1028 ohm) or 0.2 W (24 V 2880 ohm), operate ~2 ms, release ~1 ms, 1e8
    # mechanical operations; must-operate at 75 % (relay data sheets). Small PCB relays 12 V 720 ohm: 0.2 W, 4 and 3 ms,
    # 1e7. Plug-in relays with four changeovers, 12 V 160 ohm: 0.9 W, 13 and 3 ms typical, 20 at most (from memory).
    signal, line = load_set("signal_12v"), load_set("line_level_24v")
    assert signal.logic.coil_v * signal.logic.coil_a == pytest.approx(0.14, abs=0.005)
    assert line.logic.coil_v * line.logic.coil_a == pytest.approx(0.20, abs=0.005)
    assert signal.clock.coil_v * signal.clock.coil_a == pytest.approx(0.20, abs=0.005)
    assert (signal.logic.operate_s.typical, signal.logic.release_s.typical) == pytest.approx((2e-3, 1e-3))
    assert signal.logic.pick_up.high == pytest.approx(0.75)
    plug_in = load_set("plug_in_12v").logic
    assert plug_in.coil_v * plug_in.coil_a == pytest.approx(0.9)
    assert plug_in.operate_s.high <= 20e-3
    assert plug_in.release_s.high <= 20e-3


def test_the_content_is_hashed(tmp_path: Path) -> None:
    same, other = load(tmp_path, READY), load(tmp_path, READY.replace("worn_percent = 0.0", "worn_percent = 1.0"))
    assert same.content == load_set("signal_12v").content
    assert other.content != same.content


INPUT = READY.index("[relays.input]")
LINE_OF = {key: READY[: READY.index(key, INPUT)].count("\n") + 1 for key in ("operate_ms", "drop_out_percent")}


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("voltage_v = 13.8", "voltage_v = 8.9", "must be above the pick-up of the logic relays, 9 V, not 8.9 V."),
        ("pick_up_percent = [45.0, 58.0, 75.0]", "pick_up_percent = [45.0, 58.0, 105.0]",
         "must stay below the rated 100"),
        ("drop_out_percent = [10.0, 22.0, 35.0]", "drop_out_percent = [10.0, 22.0, 50.0]",
         f"line {LINE_OF['drop_out_percent']}: 'relays.input.drop_out_percent' must stay below pick-up: a relay with "
         f"release at 50 % and pick-up at 45 %"),
        ("operate_ms = [3.0, 4.0, 6.0]", "operate_ms = [-3.0, 4.0, 6.0]",
         f"line {LINE_OF['operate_ms']}: 'relays.input.operate_ms' is wrong: A spread must be "
         f"[least, typical, most], above 0"),
        ("operate_ms = [3.0, 4.0, 6.0]", "operate_ms = [3.0, 4.0]", "must be three numbers [least, typical, most]"),
        ("operate_ms = [3.0, 4.0, 6.0]", "operate_ms = [0.5, 4.0, 6.0]", "must be longer than the coil's own rise"),
        ("operated_h = 1.6", "operated_h = 0.6", "must be at least 'released_h'"),
        ("clip_v = 16.0", "clip_v = 10.0",
         "leaves 8.6 V behind the rectifier, and the input relays pick up at up to 9 V."),
        ("resistance_ohm = 720.0", "resistance_ohm = nan", "must be a number, not nan."),
        ("resistance_ohm = 720.0", "resistance_ohm = 720.0\nresistance = 1",
         "is unknown. Did you mean 'resistance_ohm'? There are:"),
        ("zener_v = 24.0", "", "'clamp.zener_v' is missing."),
        ("quietest_db = -9.0", "quietest_db = 4.0", "'tape.loudest_db' must be 4 to 12, not 3."),
        ('rectifier = "bridge"', 'rectifier = "valve"', "must be one of half, bridge, centre_tap, not valve."),
        ("[clamp]", "[klamp]", "'clamp' is missing."),
    ],
)  # fmt: skip
def test_bad_sets_are_refused_with_their_place(tmp_path: Path, old: str, new: str, said: str) -> None:
    assert old in READY
    with pytest.raises(UsageError) as caught:
        load(tmp_path, READY.replace(old, new, 1))
    assert said in str(caught.value)
    assert str(caught.value).startswith("mine.toml")
    assert "\n" not in str(caught.value)


@given(st.floats(0.1, 10), st.floats(0, 5), st.floats(0, 5), st.integers(0, 2**32 - 1))
def test_draws_stay_within_the_spread(low: float, up: float, further: float, seed: int) -> None:
    spread = Spread(low, low + up, low + up + further)
    rng = np.random.default_rng(seed)
    assert all(spread.low <= spread.draw(rng) <= spread.high for _ in range(20))
    assert (spread.at(-1), spread.at(0), spread.at(1)) == pytest.approx((spread.low, spread.typical, spread.high))


def test_draws_have_the_truncated_spread() -> None:
    # Null: normal with mean 8 and s.d. (11 - 5)/2/2.5, truncated at z = 2.5 s.d., with 1 - 2 z phi(z)/(2 Phi(z) - 1)
    # = 0.9113 of the untruncated (standard result). N = 20,000, seed 5: the mean within 5 standard errors (false alarm
    # 6e-7), the variance within 6 % (its relative standard error is under 1 %).
    rng = np.random.default_rng(5)
    drawn = np.array([Spread(5.0, 8.0, 11.0).draw(rng) for _ in range(20_000)])
    sd = 3.0 / TRUNCATED_AT_SD
    assert abs(drawn.mean() - 8.0) < 5 * sd / np.sqrt(drawn.size)
    assert drawn.var() == pytest.approx(0.9113 * sd**2, rel=0.06)


def test_relays_at_rated_voltage_have_the_times_of_the_data_sheet() -> None:
    # Operate and release at rated voltage and 20 C, without suppression, bounce apart (relay standard's terms).
    for kind in (load_set(name).logic for name in ready_sets()):
        relay = kind.relay(lambda quantity: 0.0)
        times = relay.switched(kind.coil_v, 20.0, Clamp("none"))
        assert times.operate_s == pytest.approx(kind.operate_s.typical, rel=1e-9)
        assert times.release_s == pytest.approx(kind.release_s.typical, rel=0.2)  # an arc's 250 V takes 0.1 tau
        assert times.bounce_s == pytest.approx(kind.bounce_s.typical)
        diode = relay.switched(kind.coil_v, 20.0, Clamp("diode"))
        # A diode module multiplies release by about 3 (relay data sheets); from less for slow relays to more for fast.
        assert 1.3 < diode.release_s / times.release_s < 6
        assert diode.leave_s < diode.release_s


def test_worn_contacts_bounce_longer_and_hot_coils_are_slower() -> None:
    kind = load_set("signal_12v").logic
    assert kind.relay(lambda quantity: 0.0, worn=1.0).bounce_s == pytest.approx(2 * kind.bounce_s.typical)
    relay = kind.relay(lambda quantity: 0.0)
    cold, hot = (relay.switched(12.0, celsius, Clamp("diode")).operate_s for celsius in (10.0, 60.0))
    assert hot > cold


def test_each_quantity_is_asked_for_once() -> None:
    asked: list[str] = []

    def place(quantity: str) -> float:
        asked.append(quantity)
        return 0.0

    load_set("signal_12v").logic.relay(place)
    assert tuple(asked) == QUANTITIES
