"""Reasons: for each family that is not shown the limit that killed it; where nothing is shown, the nearest miss."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace

from ..contracts import registry
from .candidates import Candidate, Families
from .course import Course
from .final import Final
from .limits import Limits
from .racing import Family, lost
from .refusals import FAR, Refusal, refusals
from .statistics import at_least
from .trials import News
from .verdict import Finalist, Miss, Rejected

Watch = Callable[[str], Callable[[News], None]]


def rejected(entered: Mapping[str, Family], installed: Families, shown: Sequence[Finalist]) -> Iterator[Rejected]:
    """The families that are not shown."""
    told = {finalist.candidate.family for finalist in shown}
    for name, family in entered.items():
        if name in told:
            continue
        quickest = family.quickest
        if quickest is not None and shown:
            yield Rejected(name, "slower", f"slower: a load takes {quickest.tape_s:.3g} s at its quickest")
        elif family.out:
            worst = max(family.out.items(), key=lambda entry: entry[1].order)
            yield Rejected(name, worst[1].limit, _in_words(*worst))
    for name, why in installed.broken.items():
        yield Rejected(name, "receiver", why)


def nearest_miss(
    entered: Mapping[str, Family],
    failed: Sequence[Finalist],
    course: Course,
    limits: Limits,
    final: Final,
    told: Watch,
) -> Miss | None:
    """Of what the tapes rejected the sturdiest, shown by a whole final; else what breaks one limit by least."""
    if failed:
        nearest = max(failed, key=lambda one: one.tally.right / one.tally.trials)
        watch = told(f"{nearest.candidate.family}: the nearest miss")
        (tally,) = course.play((nearest.candidate,), nearest.final.tapes, "final", nearest.number, watch)
        return _success_miss(replace(nearest, tally=tally))
    raced = [(one, tally) for family in entered.values() for one, tally in family.tallies.items()]
    if raced:
        sturdiest, _ = max(raced, key=lambda entry: (at_least(entry[1].right, entry[1].trials), entry[0].rank))
        watch = told(f"{sturdiest.family}: the nearest miss")
        (tally,) = course.play((sturdiest,), final.tapes, "final", 0, watch)
        return _success_miss(Finalist(sturdiest, final, tally, False, 0))
    receiver = registry.receiver(limits.receiver)
    near = [
        (against[0].miss, candidate.rank, candidate, against[0])
        for family in entered.values()
        for candidate in family.out
        if len(against := refusals(candidate, limits, receiver, final)) == 1 and against[0].miss < FAR
    ]
    if not near:
        return None
    _, _, candidate, refused = min(near, key=lambda entry: entry[:2])
    return Miss(candidate, refused, None)


def _success_miss(finalist: Finalist) -> Miss:
    tally = finalist.tally
    relax_to = _down(at_least(tally.right, tally.trials))
    return Miss(finalist.candidate, replace(lost(tally), relax_to=relax_to), finalist)


def _in_words(candidate: Candidate, refused: Refusal) -> str:
    if refused.limit != "success_at_least":
        return refused.words
    return f"{refused.words}, the sturdiest that raced ({candidate.tape_s:.3g} s)"


def _down(value: float) -> float:
    """The next smaller number of three digits after the point.

    >>> _down(0.98765)
    0.987
    """
    return int(1000 * value) / 1000
