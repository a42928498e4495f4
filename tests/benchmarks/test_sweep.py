"""Sweeps: every point is a spec that builds, within the ranges that the parameters declare."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tapewright.benchmarks.sweep import swept
from tapewright.contracts import registry
from tapewright.contracts.errors import UsageError
from tapewright.contracts.parameters import parameters_of
from tapewright.contracts.spec import parse_stack


def points(spec: str, over, kind: str = "codec") -> tuple[str, ...]:
    return swept(kind, parse_stack(spec), over)


def test_a_preset_is_written_out_and_the_last_parameter_walks_fastest() -> None:
    found = points("sturdy", {"rs.parity_bytes": [16, 32], "biphase.bit_rate_hz": [1200, 2400]})
    assert found == tuple(
        f"contents/rs:parity_bytes={parity}/interleave:depth=64/frame:block_bytes=128/biphase:bit_rate_hz={rate}"
        for parity in (16, 32)
        for rate in (1200, 2400)
    )
    assert registry.codec(found[1]).spec == registry.codec("sturdy").spec.replace(
        "parity_bytes=32", "parity_bytes=16"
    ).replace("bit_rate_hz=1200", "bit_rate_hz=2400")


def test_channels_and_receivers_are_swept_alike() -> None:
    assert points("dropouts/hiss", {"hiss.level_db": [-40, -50]}, "channel") == (
        "dropouts/hiss:level_db=-40",
        "dropouts/hiss:level_db=-50",
    )
    assert points("relays", {"relays.set": ["signal_12v"]}, "receiver") == ("relays:set=signal_12v",)


def test_steps_are_even_or_of_even_ratio_and_whole_where_the_parameter_is() -> None:
    (*_, last) = found = points("biphase", {"biphase.bit_rate_hz": {"from": 1000, "to": 4000, "steps": 4}})
    assert found == tuple(f"biphase:bit_rate_hz={rate}" for rate in (1000, 2000, 3000, 4000))
    assert last.endswith("=4000")
    by_ratio = points("biphase", {"biphase.bit_rate_hz": {"from": 1000, "to": 8000, "steps": 4, "ratio": True}})
    assert by_ratio == tuple(f"biphase:bit_rate_hz={rate}" for rate in (1000, 2000, 4000, 8000))
    assert points("rs/biphase", {"rs.parity_bytes": {"from": 16, "to": 17, "steps": 5}}) == (
        "rs:parity_bytes=16/biphase",
        "rs:parity_bytes=17/biphase",
    )


@given(
    key=st.sampled_from(["biphase.bit_rate_hz", "rs.parity_bytes", "interleave.depth"]),
    steps=st.integers(2, 9),
    ratio=st.booleans(),
)
def test_the_ends_default_to_the_declared_range(key, steps, ratio) -> None:
    name, _, parameter = key.partition(".")
    (declared,) = (one for one in parameters_of(registry.installed("codec").plug_in(name)) if one.name == parameter)
    walk = {"steps": steps, "ratio": ratio}
    if declared.low == 0 and ratio:
        with pytest.raises(UsageError, match="from above 0 upwards"):
            points(f"{name}", {key: walk})
        return
    values = [dict(parse_stack(spec)[0].arguments)[parameter] for spec in points(name, {key: walk})]
    assert (values[0], values[-1]) == (declared.low, declared.high)
    assert values == sorted(set(values))
    assert 2 <= len(values) <= steps
    assert all(type(value) is type(declared.default) or type(value) is int for value in values)


@pytest.mark.parametrize(
    ("over", "told"),
    [
        (
            {"biphase.rate": [1]},
            "there is no 'biphase.rate' in that codec. Did you mean 'biphase.bit_rate_hz'? There are: contents.cop",
        ),
        ({"bit_rate_hz": [1]}, "there is no 'bit_rate_hz'"),
        ({"biphase.bit_rate_hz": [1e9]}, "biphase: parameter 'bit_rate_hz' must be"),
        ({"biphase.bit_rate_hz": ["fast"]}, "biphase: parameter 'bit_rate_hz' must be a number, not 'fast'"),
        ({"biphase.bit_rate_hz": []}, "must be a list of 1 to 1000 values"),
        ({"biphase.bit_rate_hz": 1200}, "must be a list of 1 to 1000 values"),
        (
            {"biphase.bit_rate_hz": {"from": 1000, "step": 2}},
            "has no 'step'. Did you mean 'steps'? There are: from, to, steps, ratio",
        ),
        ({"biphase.bit_rate_hz": {"from": 1000}}, "'steps' of 'biphase.bit_rate_hz' must be 2 to 1000, not None"),
        ({"biphase.bit_rate_hz": {"from": 0.001, "steps": 2}}, "biphase: parameter 'bit_rate_hz' must be"),
        (
            {"biphase.bit_rate_hz": {"from": float("nan"), "steps": 2}},
            "'from' of 'biphase.bit_rate_hz' must be a number",
        ),
        ({"biphase.bit_rate_hz": {"from": 4000, "to": 1000, "steps": 2, "ratio": True}}, "from above 0 upwards"),
        ({"biphase.bit_rate_hz": {"from": 10**400, "steps": 2}}, "'bit_rate_hz' must be finite, not inf"),
        ({"biphase.bit_rate_hz": {"to": -math.inf, "steps": 2}}, "'to' of 'biphase.bit_rate_hz' must be a number"),
        ({"rs.parity_bytes": {"to": 10**400, "steps": 2}}, "'parity_bytes' must be 2 to 128 bytes, not a number of"),
        (
            {key: {"steps": 1000} for key in ("biphase.bit_rate_hz", "biphase.leader_s", "biphase.tail_s")},
            "sweep: 'biphase.bit_rate_hz', 'biphase.leader_s', 'biphase.tail_s' have 1000000000 points "
            "together, and a study has room for 100000.",
        ),
        ({"biphase.variant": {"steps": 2}}, "is no number, so it cannot walk in steps; list its values"),
    ],
)
def test_a_wrong_sweep_says_what_would_be_right(over, told) -> None:
    with pytest.raises(UsageError) as failure:
        points("sturdy", over)
    assert told in str(failure.value)
