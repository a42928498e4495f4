"""Outlook: how long a choice will still take is what is to come times what a tape took."""

from tapewright.benchmarks.final import Final
from tapewright.benchmarks.outlook import ALONE, FIGURES, FINAL, RACE, RACE_TAPES, Outlook
from tapewright.benchmarks.racing import Family
from tapewright.benchmarks.trials import News


class Clock:
    """Moved by hand."""

    def __init__(self, tape_s: float) -> None:
        self.now_s = 0.0
        self.tape_s = tape_s

    def __call__(self) -> float:
        return self.now_s


def run(outlook: Outlook, clock: Clock, tapes: int, to_come: int) -> list[float | None]:
    told = []
    for done in range(tapes + 1):
        outlook.saw(News(done, tapes, (), None), to_come)
        told.append(outlook.remaining_s)
        clock.now_s += clock.tape_s
    return told


def test_nothing_is_told_before_some_tapes_and_then_it_falls_to_what_is_left() -> None:
    clock = Clock(0.25)
    outlook = Outlook(figures=0, final=0, clock=clock)
    told = run(outlook, clock, 40, 140)
    assert told[:20] == [None] * 20
    assert told[20] == 30  # 140 - 20 tapes of a quarter of a second each
    assert told[40] == 25
    assert outlook.played == 40


def test_tapes_of_all_runs_are_counted_also_of_one_that_ends_early() -> None:
    clock = Clock(0.25)
    outlook = Outlook(figures=0, final=0, clock=clock)
    for tapes in (8, 3, 20):
        run(outlook, clock, tapes, 0)
    outlook.saw(News(0, 473, (), None), 0)
    outlook.saw(News(64, 473, (), None), 0)
    assert outlook.played == 8 + 3 + 20 + 64


def test_what_is_to_come_is_the_rest_of_the_choice() -> None:
    outlook = Outlook(figures=8 * 192, final=Final(473, 1, 0.95).tapes)
    empty = Family("out", [])
    assert outlook.to_come(RACE, (empty,), 3) == 8 * 192 + 3 * 473
    assert outlook.to_come(FINAL, (empty,), 2) == 8 * 192 + 2 * 473
    outlook.turned(192)
    assert outlook.to_come(FIGURES, (empty,), 0) == 7 * 192
    assert outlook.to_come(ALONE, (empty,), 3) == 0
    assert RACE_TAPES > 0


def test_of_long_tapes_few_tell() -> None:
    clock = Clock(30.0)
    outlook = Outlook(figures=0, final=0, clock=clock)
    assert run(outlook, clock, 6, 100)[4:6] == [None, 95 * 30]


def test_what_the_first_tapes_compiled_is_not_laid_on_the_others() -> None:
    clock = Clock(60.0)
    outlook = Outlook(figures=0, final=0, clock=clock)
    run(outlook, clock, 3, 100)
    clock.tape_s = 0.5
    assert run(outlook, clock, 40, 100)[-1] == 60 * 0.5
