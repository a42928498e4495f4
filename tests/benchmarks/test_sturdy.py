"""The last resort of a choice: short rounds, after which the hopeless and the worse stop."""

from dataclasses import dataclass, field

from tapewright.benchmarks.final import Final
from tapewright.benchmarks.racing import hopeless
from tapewright.benchmarks.sturdy import ROUNDS, sturdiest
from tapewright.benchmarks.tally import Tally
from tapewright.benchmarks.trials import unwatched

FINAL = Final(59, 0, 0.95)


@dataclass(frozen=True)
class One:
    """A format of which ``right`` of a hundred tapes are read."""

    rank: tuple[float, ...]
    right: int


@dataclass
class Others:
    """A family."""

    formats: list[One]

    def sturdy(self):
        return self.formats


@dataclass
class Played:
    """A course that loses just the share that was said, and notes how many play."""

    runs: list[tuple[int, int]] = field(default_factory=list)

    def play(self, candidates, tapes, purpose, number, watch):
        self.runs.append((len(candidates), tapes))
        return tuple(Tally(trials=tapes, right=tapes * one.right // 100) for one in candidates)


def test_the_hopeless_stop_after_the_first_round_and_nobody_goes_on_in_vain() -> None:
    assert hopeless(Tally(trials=2, right=0), FINAL)
    course = Played()
    lost = [One((float(number),), 0) for number in range(5)]
    assert sturdiest([Others(lost)], (), course, FINAL, lambda words: unwatched) == ()
    assert course.runs == [(5, 2)]


def test_each_round_keeps_its_best_the_quicker_first() -> None:
    course = Played()
    sound = [One((float(number),), 100) for number in range(20)]
    found = sturdiest([Others(sound[::-1])], sound[:3], course, FINAL, lambda words: unwatched)
    assert [one for _, one in found] == sound[3:5]
    assert course.runs == [(17, 2), (12, 4), (8, 8), (4, 16), (4, 32)]
    assert [tapes for _, tapes in course.runs] == [tapes for tapes, _ in ROUNDS]


def test_nobody_at_all_plays_nothing() -> None:
    course = Played()
    assert sturdiest([], (), course, FINAL, lambda words: unwatched) == ()
    assert course.runs == []
