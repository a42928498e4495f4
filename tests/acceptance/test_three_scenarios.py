"""Three scenarios, written down with their reasons before they were first played: which kind of format must win.

The program is invented: chimes for the controller of a village clock-tower.
"""

import pytest
from tapewright.benchmarks.choice import choose
from tapewright.benchmarks.limits import Limits
from tapewright.benchmarks.verdict import Choice

pytestmark = pytest.mark.acceptance


def chosen(limits: Limits, payload_bytes: int) -> Choice:
    answer = choose(bytes(place % 256 for place in range(payload_bytes)), "chimes", limits, budget=299)
    assert answer.shown
    assert answer.shown[0].tally.trials >= 299
    return answer


def test_relays_alone_at_walking_pace() -> None:
    """Only keyed codes can be followed by contacts, and no corrector: one of the codes of tone bursts, at some bytes a
    second, must win, and every self-clocking code must be out because of its decoder.
    """
    answer = chosen(Limits(channel="good-new", decoder="relays", relay_set="graded_12v"), 16)
    assert answer.shown[0].candidate.family in {"clocked", "dual_rail", "two_tone_rails"}
    assert 16 / answer.shown[0].candidate.tape_s < 20
    out = {one.family: one.limit for one in answer.rejected}
    assert {out[family] for family in ("biphase", "group", "mfm", "fsk", "pulse_width", "multicarrier")} == {"decoder"}


def test_a_microcontroller_on_a_portable_recorder() -> None:
    """3 % of speed error a deck and an 8 kHz band at 40 dB: a self-clocking code of transitions, with the check and a
    corrector, below the rates that fill a good deck's band. Two tones and keyed codes are far slower.
    """
    limits = Limits(channel="portable-played", decoder="microcontroller", silent_at_most=1e-6)
    winner = chosen(limits, 1024).shown[0].candidate
    assert winner.family in {"biphase", "mfm", "group", "pulse_width"}
    assert winner.shape[0] == "contents"
    assert 1024 / winner.tape_s > 50


def test_a_computer_on_a_good_deck() -> None:
    """52 dB over 14 kHz on two tracks: many amplitudes on many carriers carry several times what two levels can, so
    that of a program of 4 KiB, whose leader weighs little, only the many-carrier code can win.
    """
    limits = Limits(channel="good-new", decoder="computer", silent_at_most=1e-6)
    winner = chosen(limits, 4096).shown[0].candidate
    assert winner.family == "multicarrier"
    assert winner.codec.needs == "computer"
