"""The hardware sections of a machine with filters and checking layers."""

import re

import pytest
from tapewright.contracts.registry import codec, receiver
from tapewright.receivers.relays.build_record import build_record
from tapewright.reports.build_hardware import front_end_section, parts_section


def built(spec):
    stack = codec(spec)
    return build_record(stack.line_code, *receiver("relays").wiring(stack), 16)


def text_of(section, build):
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", " ".join(section({"build": build}))))


def test_a_code_of_two_tones_shows_its_filters_and_what_parity_catches():
    """At 4 kHz, 22 mH and Q = 6 by hand: C = 1/(w^2 L) = 71.96 nF, R = Q w L = 3318 ohm."""
    build = built("parity/two_tone_rails:group_bits=9")
    tuned = build["front_end"]["tone_filter"]
    assert (tuned["tone_hz"], tuned["capacitance_nf"]) == (4000, pytest.approx(71.96, abs=0.01))
    assert tuned["resistance_ohm"] == pytest.approx(3317.5, abs=0.5)
    front = text_of(front_end_section, build)
    assert "3318 ohm in series, then 22 mH beside 72.0 nF to ground: Q 6, tuned to 4000 Hz within 2 %" in front
    bought = text_of(parts_section, build)
    assert "Layer parity catches any odd number of wrong bits in a byte, and stops there." in bought
    assert "zero 4000 Hz input" in bought


def test_one_tone_without_layers_shows_neither():
    build = built("clocked")
    assert (build["front_end"]["tone_filter"], build["checks"]) == (None, [])
    assert "filter" not in text_of(front_end_section, build)
    assert "Layer" not in text_of(parts_section, build)
