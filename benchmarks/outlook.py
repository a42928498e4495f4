"""Outlook: how long a whole choice will still take, as far as that can be told while it searches.

How many tapes a race needs is not known before it is over: what stands for it is what searches among the ready codecs
took (``RACE_TAPES``). Finals and the turning of figures are known beforehand, but for what is lost and what is skipped.
The time is what a tape took so far.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from time import perf_counter

from .racing import Family
from .trials import News

RACE_TAPES = 500
"""Of each family that may be shown, its refinement included: the middle of what was seen."""

WARM_UP, FIRST_TAPES, FIRST_S = 4, 16, 5.0
"""The first tapes may carry the compilation of kernels; after them so many tell what a tape takes, or as many as end in
that time."""

RACE, FINAL, FIGURES, ALONE = "race", "final", "figures", "alone"
"""Phases of a choice; what is ``ALONE`` comes last, or leads to something that cannot be told."""


class Outlook:
    """Counts the tapes of a choice and what they took.

    Args:
        figures: tapes that turn the figures, at most.
        final: tapes of one final.
        clock: seconds, from anywhere.
    """

    def __init__(self, figures: int, final: int, clock: Callable[[], float] = perf_counter) -> None:
        self._figures, self._final, self._clock = figures, final, clock
        self._warm: tuple[float, int] | None = None
        self._before = self._now = self._left = 0

    @property
    def played(self) -> int:
        """Tapes so far."""
        return self._before + self._now

    def to_come(self, phase: str, families: Iterable[Family], finals: int) -> int:
        """Tapes that are to come when a run of ``phase`` begins, as far as that can be told.

        Args:
            finals: how many are to come.
        """
        if phase == ALONE:
            return 0
        if phase == FIGURES:
            return self._figures
        left = self._figures + finals * self._final
        if phase == RACE:
            for family in families:
                raced = sum(tally.trials for tally in family.tallies.values())
                left += max(RACE_TAPES - raced, 0) if family.quickest else 0
        return left

    def saw(self, news: News, to_come: int) -> None:
        """News of one run of tapes, from its first (none done yet) to its last.

        Args:
            to_come: tapes of this run and of all that follow it, as ``to_come`` has it.
        """
        if news.done == 0:
            self._before, self._now = self.played, 0
        self._now, self._left = news.done, max(to_come, news.of) - news.done
        if self._warm is None and self.played >= WARM_UP:
            self._warm = self._clock(), self.played

    def turned(self, tapes: int) -> None:
        """One figure was turned, for which so many tapes had been put in."""
        self._figures -= tapes

    @property
    def remaining_s(self) -> float | None:
        """About how many seconds of wall clock are left; None as long as too little was played to tell."""
        if self._warm is None:
            return None
        begun_s, before = self._warm
        taken_s, tapes = self._clock() - begun_s, self.played - before
        if tapes == 0 or (tapes < FIRST_TAPES and taken_s < FIRST_S):
            return None
        return self._left * taken_s / tapes
