"""Figures: every one of deck, tape and relays is turned by itself, and the answer falls where it must."""

from dataclasses import replace

import pytest
from tapewright.benchmarks import assumptions
from tapewright.benchmarks.assumptions import LADDER, Contest
from tapewright.benchmarks.candidates import Candidate
from tapewright.benchmarks.course import Course
from tapewright.benchmarks.figures import figures
from tapewright.benchmarks.final import final
from tapewright.benchmarks.limits import Limits
from tapewright.benchmarks.trials import unwatched
from tapewright.contracts import registry


def test_relays_have_a_spread_to_turn_and_a_computer_has_none() -> None:
    course = Course(b"x", "x", "worn", "relays", 1)
    names = [figure.name for figure in figures(course)]
    assert names[-1] == "spread of the relays"
    assert {"speed error", "dropouts a minute", "hiss", "azimuth"} < set(names)
    assert names[:-1] == [figure.name for figure in figures(replace(course, receiver="sound"))]
    assert "spread of the relays" not in [figure.name for figure in figures(replace(course, receiver="sound"))]


def test_turning_the_spread_changes_the_receiver_alone() -> None:
    course = Course(b"x", "x", "worn", "relays:set=graded_12v", 1)
    spread = figures(course)[-1]
    for factor in LADDER:
        channel, receiver, value = spread.turned(course, factor)
        assert channel == course.channel
        assert value == factor
        assert registry.receiver(receiver).relay_spread == factor


def test_a_format_at_its_shortest_step_falls_when_the_relays_lie_far_apart(monkeypatch: pytest.MonkeyPatch) -> None:
    """On a tape without damage, so that whatever fails, the relays do it. Within the limits of its set none fails
    (timing's law), and drawn relays cluster, so that it takes far wider ones. Seed 3; 64 tapes at each rung.
    """
    monkeypatch.setattr(assumptions, "LADDER", (1.0, 10.0))
    receiver = registry.receiver("relays:set=graded_12v")
    codec = receiver.quickest(registry.codec("dual_rail:line_up_s=0.2,leader_s=0.1,tail_s=0.1"))
    assert codec is not None
    winner = Candidate(codec, codec.duration_s(1), None)
    limits = Limits(channel="wire", decoder="relays", relay_set="graded_12v")
    course = Course(b"\xa5", "one", "wire", receiver.spec, 3)
    contest = Contest(winner, (), (), course, limits, final(limits, 299), lambda what: unwatched)
    (found,) = contest.assumptions()
    assert found.figure.parameter == "relay_spread"
    assert (found.holds_to, found.falls_at, found.then) == (1.0, 10.0, None)
    assert found.tally.right < found.tally.trials
