"""Keying: the pattern of a code of tone bursts, and the law that ties it to the sound."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tapewright.contracts import bits
from tapewright.contracts.errors import UsageError
from tapewright.contracts.keying import KeyedLineCode, Keying
from tapewright.contracts.parameters import parameters_of
from tapewright.contracts.plug_in import PlugIn
from tapewright.contracts.registry import codec, installed

RATE = 44_100


def keyed_codes() -> list[str]:
    registry = installed("codec")
    found = []
    for name in registry.names():
        loaded = registry.load(name)
        if isinstance(loaded, type) and issubclass(loaded, PlugIn) and issubclass(loaded, KeyedLineCode):
            found.append(name)
    return found


def test_there_is_a_keyed_code() -> None:
    assert "clocked" in keyed_codes()


@pytest.mark.parametrize("name", keyed_codes())
@given(payload=st.binary(min_size=0, max_size=3))
def test_bursts_are_the_sound(name: str, payload: bytes) -> None:
    code = codec(name).line_code
    assert isinstance(code, KeyedLineCode)
    data = bits.from_bytes(payload)
    samples = code.modulate(data, RATE).samples
    sounding = np.zeros(samples.shape, bool)
    bursts = code.bursts(data)
    assert [burst.start_s for burst in bursts] == sorted(burst.start_s for burst in bursts)
    for burst in bursts:
        first, last = round(burst.start_s * RATE), round(burst.end_s * RATE)
        assert not sounding[burst.track, first:last].any()
        sounding[burst.track, first:last] = True
        middle = samples[burst.track, first + 441 : last - 441]
        # The tone is the one that is named: its zero crossings are twice its cycles, give or take the cut ends.
        crossings = np.count_nonzero(np.diff(np.signbit(middle)))
        assert crossings == pytest.approx(2 * burst.tone_hz * middle.size / RATE, abs=3)
    assert not samples[~sounding].any()


@pytest.mark.parametrize("name", keyed_codes())
@given(payload=st.binary(min_size=1, max_size=3), factor=st.floats(0.6, 3.0))
def test_keying_states_where_bursts_stand_and_another_step_keeps_the_shares(
    name: str, payload: bytes, factor: float
) -> None:
    code = codec(name).line_code
    assert isinstance(code, KeyedLineCode)
    keying = code.keying()
    if set(keying.roles) == {"clock", "data"}:
        clock = keying.track("clock")
        found = [
            b for b in code.bursts(bits.from_bytes(payload)) if b.track == clock and b.start_s >= keying.first_step_s
        ]
        for byte in range(len(payload)):
            for step in range(keying.steps_a_byte):
                burst = found[byte * keying.steps_a_byte + step]
                extra = keying.mark_extra_s if step else 0.0
                start = (
                    keying.first_step_s + byte * keying.seconds_a_byte + step * keying.step_s + extra + keying.lead_s
                )
                assert burst.start_s == pytest.approx(start, abs=1e-9)
                long = keying.mark_s if step == 0 and keying.mark_s is not None else keying.clock_burst_s
                assert burst.length_s == pytest.approx(long, abs=1e-9)
    other = code.at_step(factor * keying.step_s).keying()
    assert other.step_s == pytest.approx(factor * keying.step_s)
    for figure in ("clock_burst_s", "data_burst_s", "lead_s", "mark_s", "mark_extra_s", "seconds_a_byte"):
        before, after = getattr(keying, figure), getattr(other, figure)
        assert after == before or after == pytest.approx(factor * before), figure
    assert (other.tone_hz, other.roles, other.steps_a_byte) == (keying.tone_hz, keying.roles, keying.steps_a_byte)
    same = {declared.name for declared in parameters_of(code)} - {"step_ms", "lead_ms", "edge_ms"}
    assert all(getattr(code.at_step(0.5), key) == getattr(code, key) for key in same)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"roles": ("clock", "clock")}, "'roles' must be clock and data, or zero and one"),
        ({"roles": ("one", "data")}, "'roles' must be"),
        ({"step_s": 0.0}, "'step_s' must be above 0, not 0"),
        ({"clock_burst_s": float("nan")}, "'clock_burst_s' must be above 0, not nan"),
        ({"data_steps": 0}, "at least 1 data step"),
        ({"extra_steps": -1}, "no negative number of extra steps"),
    ],
)
def test_impossible_patterns_are_refused(change: dict[str, object], said: str) -> None:
    figures: dict[str, object] = {
        "tone_hz": 3000.0,
        "step_s": 0.06,
        "roles": ("clock", "data"),
        "clock_burst_s": 0.03,
        "data_burst_s": 0.04,
        "lead_s": 0.01,
        "data_steps": 8,
        "extra_steps": 4,
        "first_step_s": 1.0,
    }
    with pytest.raises(UsageError, match=said):
        Keying(**{**figures, **change})  # type: ignore[arg-type]
