"""Reasons: for each family that is not shown the limit that killed it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from .candidates import Candidate, Families
from .racing import Family
from .refusals import Refusal
from .verdict import Finalist, Rejected


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


def _in_words(candidate: Candidate, refused: Refusal) -> str:
    if refused.limit != "success_at_least":
        return refused.words
    return f"{refused.words}, the sturdiest that raced ({candidate.tape_s:.3g} s)"
