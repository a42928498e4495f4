"""Sturdy: the last resort of a choice. Before it is said that nothing meets the limits, the sturdiest formats within
them play against each other, whatever their load time; who is hopeless stops, and the best are worth a final.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable

from .candidates import Candidate
from .course import Course
from .final import Final
from .racing import Family, hopeless
from .tally import Tally
from .trials import News

ROUNDS = ((2, 12), (4, 8), (8, 4), (16, 4), (32, 2))
"""Tapes of each round, and how many formats go on; from the last round into finals."""


def sturdiest(
    families: Iterable[Family],
    without: Collection[Candidate],
    course: Course,
    final: Final,
    told: Callable[[str], Callable[[News], None]],
) -> tuple[tuple[Family, Candidate], ...]:
    """Who is worth a final, the best first.

    Args:
        without: formats that have lost one.
        told: makes the watcher of one run of tapes from words for it.

    Raises:
        TapewrightError: a plug-in raised.
    """
    of = {one: family for family in families for one in family.sturdy() if one not in without}
    tallies = dict.fromkeys(of, Tally())
    for tapes, going_on in ROUNDS:
        if not tallies:
            break
        watch = told(f"the sturdiest formats, {len(tallies)} of them")
        played = course.play(tuple(tallies), tapes, "sturdy", tapes, watch)
        tallies = {one: tallies[one] + tally for one, tally in zip(tallies, played, strict=True)}
        best = sorted(tallies.items(), key=lambda entry: (-entry[1].right, entry[0].rank))
        tallies = {one: tally for one, tally in best[:going_on] if not hopeless(tally, final)}
    return tuple((of[one], one) for one in tallies)
