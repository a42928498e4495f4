"""Candidates: what is searched, in which order it stands, and which of two formats is no sturdier."""

from dataclasses import replace

import pytest
from tapewright.benchmarks.candidates import Candidate, coarse, families, keeps_pace, ranked
from tapewright.benchmarks.schemes import mends
from tapewright.contracts import registry

pytestmark = pytest.mark.usefixtures("toys")


def test_a_strangers_line_code_is_a_family_and_a_broken_one_says_so() -> None:
    found = families()
    assert "toy_pulse" in found.codes
    assert "toy_broken" in found.broken


def test_a_strangers_ranges_are_searched() -> None:
    code = families().codes["toy_pulse"]
    frames = {one.codec.line_code.frames for one in coarse(code, registry.receiver("sound"), 24)}
    assert {1, 100} <= frames
    assert len(frames) > 8


def test_alike_load_times_go_to_what_is_checked_and_simpler() -> None:
    plain = Candidate(registry.codec("contents/biphase"), 2.000, None)
    dense = Candidate(registry.codec("dense-played"), 1.999, None)
    bare = Candidate(registry.codec("biphase"), 2.001, None)
    quicker = replace(dense, tape_s=1.5)
    assert ranked([bare, dense, plain, quicker])[0].tape_s == 1.5
    assert ranked([bare, dense, plain])[0] == plain


def test_a_relay_format_is_never_quicker_than_its_machine_is_sure_to_follow() -> None:
    receiver = registry.receiver("relays:set=graded_12v")
    quickest = receiver.quickest(registry.codec("clocked"))
    assert quickest is not None
    step_s = quickest.line_code.keying().step_s
    for factor, follows in ((1.0, True), (1.1, True), (0.9, False)):
        codec = replace(quickest, line_code=quickest.line_code.at_step(factor * step_s))
        assert keeps_pace(Candidate(codec, codec.duration_s(16), None), receiver) is follows


def test_a_quicker_bit_or_less_redundancy_is_no_sturdier() -> None:
    def candidate(stack: str) -> Candidate:
        codec = registry.codec(stack)
        return Candidate(codec, codec.duration_s(24), None)

    preset = candidate("steady-worn")
    shape = "contents/rs:parity_bytes={}/interleave:depth=90/frame:block_bytes=128/biphase:bit_rate_hz={},tracks={}"
    for parity, rate, tracks, lesser in (
        (64, 4200, "split", True),
        (64, 6000, "split", True),
        (32, 4200, "split", True),
        (32, 2000, "split", False),
        (96, 6000, "split", False),
        (32, 6000, "same", False),
    ):
        assert candidate(shape.format(parity, rate, tracks)).is_no_sturdier_than(preset) is lesser
    assert not candidate("contents/biphase:bit_rate_hz=6000,tracks=split").is_no_sturdier_than(preset)


def test_without_a_corrector_a_check_makes_nothing_sturdier() -> None:
    def candidate(stack: str) -> Candidate:
        codec = registry.codec(stack)
        return Candidate(codec, codec.duration_s(200), None)

    plain, checked = candidate("biphase"), candidate("crc/biphase")
    assert plain.is_no_sturdier_than(checked)
    assert checked.is_no_sturdier_than(plain)
    assert not candidate("biphase:bit_rate_hz=1000").is_no_sturdier_than(checked)
    assert not plain.is_no_sturdier_than(candidate("contents/rs/biphase"))
    assert not candidate("contents/rs/biphase").is_no_sturdier_than(plain)
    assert not plain.is_no_sturdier_than(candidate("fsk"))
    # Half as long a recording meets half as many dropouts.
    assert not Candidate(plain.codec, 0.5, None).is_no_sturdier_than(checked)


@pytest.mark.parametrize(
    ("stack", "mended"),
    [
        ("biphase", False),
        ("parity/biphase", False),
        ("crc/biphase", False),
        ("contents/biphase", False),
        ("contents/frame/biphase", False),
        ("contents/ones_count/biphase", False),
        ("vote/biphase", True),
        ("contents/repeat/biphase", True),
        ("contents/hamming/biphase", True),
        ("contents/rs/biphase", True),
        ("contents/rs/interleave:depth=64/frame/biphase", True),
        ("contents/convolutional/scatter/multicarrier", True),
    ],
)
def test_what_mends_a_wrong_bit_is_found_by_trying(stack: str, mended: bool) -> None:
    """A check finds, a corrector mends: Lin & Costello, Error Control Coding, chapter 1 (the trade's terms)."""
    assert mends(registry.codec(stack).layers) is mended
