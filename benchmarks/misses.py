"""Misses: where nothing meets the limits, the nearest miss, and what would have to be asked for instead."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

from ..contracts import registry
from .candidates import Candidate
from .course import Course
from .final import Final, asked_of
from .limits import Limits
from .racing import Family, lost
from .refusals import FAR, Refusal, refusals, up
from .statistics import at_least, at_most
from .trials import News
from .verdict import Finalist, Miss

FEWEST_TAPES, LONGEST_PLAY_S = 64, 10_800.0
"""Of the nearest miss: its tapes play no longer than three hours together, but these few are always played."""

Watch = Callable[[str], Callable[[News], None]]


def nearest_miss(
    entered: Mapping[str, Family],
    failed: Sequence[Finalist],
    course: Course,
    limits: Limits,
    final: Final,
    told: Watch,
) -> Miss | None:
    """Of what the tapes rejected the sturdiest, shown by fresh tapes; else what breaks one limit by least."""
    raced = [(one, tally) for family in entered.values() for one, tally in family.tallies.items()]
    if failed:
        nearest = max(failed, key=lambda one: one.tally.right / one.tally.trials).candidate
    elif raced:
        nearest, _ = max(raced, key=lambda entry: (at_least(entry[1].right, entry[1].trials), entry[0].rank))
    else:
        return _by_arithmetic(entered, limits, final, len(course.program))
    attempt = len(failed) + 1
    asked = replace(final, tapes=_tapes(nearest, final), confidence=asked_of(attempt))
    watch = told(f"{nearest.family}: the nearest miss")
    (tally,) = course.play((nearest,), asked.tapes, "miss", 0, watch)
    return by_tapes(Finalist(nearest, asked, tally, False, attempt), limits)


def _tapes(candidate: Candidate, final: Final) -> int:
    """How many tapes show how near a miss is: as many as a final has, fewer of a format whose recording is long."""
    return min(final.tapes, max(FEWEST_TAPES, int(LONGEST_PLAY_S / candidate.tape_s)))


def by_tapes(finalist: Finalist, limits: Limits) -> Miss:
    """What would have to be asked for instead: what its tapes show with the confidence that is asked of a final."""
    candidate, tally = finalist.candidate, finalist.tally
    refused = lost(tally)
    shown = at_least(tally.right, tally.trials, finalist.final.confidence)
    if shown < limits.success_at_least:
        return Miss(candidate, replace(refused, relax_to=_down(shown)), finalist)
    silent = at_most(tally.silent, tally.trials)
    if limits.silent_at_most is not None and candidate.codec.lies_at_most is None and silent > limits.silent_at_most:
        words = f"{tally.silent} of {tally.trials} tapes lost silently show {silent:.1e} > {limits.silent_at_most:g}"
        return Miss(candidate, Refusal("silent_at_most", words, silent, up(silent)), finalist)
    # It lost its final by bad luck, or this by good luck: no less than the limit is known to be needed.
    words = f"{refused.words}, after a lost final or race"
    return Miss(candidate, replace(refused, words=words, relax_to=_down(limits.success_at_least - 0.001)), finalist)


def _by_arithmetic(entered: Mapping[str, Family], limits: Limits, final: Final, payload_bytes: int) -> Miss | None:
    receiver = registry.receiver(limits.receiver)
    near = [
        (against[0].miss, candidate.rank, candidate, against[0])
        for family in entered.values()
        for candidate in family.out
        if len(against := refusals(candidate, limits, receiver, final, payload_bytes)) == 1 and against[0].miss < FAR
    ]
    if not near:
        return None
    _, _, candidate, refused = min(near, key=lambda entry: entry[:2])
    return Miss(candidate, refused, None)


def _down(value: float) -> float:
    """The next smaller number of three digits after the point.

    >>> _down(0.98765)
    0.987
    """
    return int(1000 * value) / 1000
