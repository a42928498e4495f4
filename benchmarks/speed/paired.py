"""Two pieces of work timed in turns, so that whatever else the machine does meets both alike."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from statistics import median, quantiles
from time import perf_counter, process_time
from typing import Any

from .row import Row

Work = Callable[[], Any]

CLOCKS: dict[str, Callable[[], float]] = {"processor": process_time, "wall": perf_counter}
"""Processor time of one piece of work leaves out what others run meanwhile; more than one core needs the wall's."""


@dataclass(frozen=True, slots=True)
class Paired:
    """Times of both in seconds, one pair a round.

    Attributes:
        ours, theirs: shape (rounds,).
    """

    ours: tuple[float, ...]
    theirs: tuple[float, ...]

    @property
    def ratios(self) -> tuple[float, ...]:
        """Theirs over ours, round by round."""
        return tuple(theirs / ours for ours, theirs in zip(self.ours, self.theirs, strict=True))

    def into(self, row: Row, scale: float = 1.0, more: float = 1.0) -> Row:
        """``row`` with its figures: medians times ``scale``, the median ratio and its quartiles.

        Args:
            more: how much more work ours did than theirs.
        """
        ratios = [more * ratio if row.at_least else 1 / (more * ratio) for ratio in self.ratios]
        low, _, high = quantiles(ratios, n=4, method="inclusive") if len(ratios) > 1 else ratios * 3
        return replace(
            row,
            ratio=median(ratios),
            low=low,
            high=high,
            ours=scale * median(self.ours),
            theirs=more * scale * median(self.theirs),
        )


def paired(ours: Work, theirs: Work, rounds: int, clock: str = "processor", repeats: int = 1) -> Paired:
    """Each once to warm up, then ``rounds`` times one after the other, every other round in the other order.

    Args:
        repeats: how often ours runs in one round, where once would be too short to time.
    """
    now = CLOCKS[clock]
    ours()
    theirs()
    times: dict[Work, list[float]] = {ours: [], theirs: []}
    for number in range(rounds):
        for work in (ours, theirs) if number % 2 == 0 else (theirs, ours):
            count = repeats if work is ours else 1
            begun = now()
            for _ in range(count):
                work()
            times[work].append((now() - begun) / count)
    return Paired(tuple(times[ours]), tuple(times[theirs]))
