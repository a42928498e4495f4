"""Time to go, from what was seen."""

import pytest
from tapewright.benchmarks.forecast import Forecast


def test_nothing_is_said_before_anything_was_seen() -> None:
    assert Forecast({"a": 1}, {"a": 1.0}, workers=1).remaining_s() is None


def test_known_kinds_cost_what_they_cost_and_unknown_ones_by_their_length() -> None:
    forecast = Forecast({"short": 3, "long": 4}, {"short": 2.0, "long": 90.0}, workers=1)
    forecast.saw("short", 0.5)
    assert forecast.remaining_s() == pytest.approx(2 * 0.5 + 4 * 0.25 * 90)
    forecast.saw("long", 3.0)
    assert forecast.remaining_s() == pytest.approx(2 * 0.5 + 3 * 3.0)


def test_workers_share_what_there_is_to_share() -> None:
    forecast = Forecast({"a": 4}, {"a": 1.0}, workers=2)
    forecast.saw("a", 6.0)
    assert forecast.remaining_s() == pytest.approx(9.0)
    forecast.saw("a", 6.0)
    forecast.saw("a", 6.0)
    assert forecast.remaining_s() == pytest.approx(6.0)  # the last one cannot be split
    forecast.saw("a", 6.0)
    assert forecast.remaining_s() == 0


def test_a_first_tape_that_compiles_kernels_does_not_spoil_the_forecast() -> None:
    forecast = Forecast({"a": 12}, {"a": 1.0}, workers=1)
    forecast.saw("a", 9.0)
    forecast.saw("a", 0.1)
    assert forecast.remaining_s() == pytest.approx(1.0)


def test_first_tapes_of_every_worker_do_not_spoil_it_either() -> None:
    forecast = Forecast({"a": 13}, {"a": 1.0}, workers=2)
    for seconds in (9.0, 9.0, 0.1):
        forecast.saw("a", seconds)
    assert forecast.remaining_s() == pytest.approx(0.5)
