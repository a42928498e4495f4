"""Margin: how much time a path has to spare in its worst corner."""

from __future__ import annotations

from dataclasses import dataclass

from .corner import Corner
from .fault import PATHS

GUARD_S = 0.1e-3
"""Taken off every margin: contacts are told to a sample, and a machine between two corners can be this much worse."""


@dataclass(frozen=True, slots=True)
class Margin:
    """One path.

    Attributes:
        path: a key of ``fault.PATHS``.
        where: which step, line or bit.
        need_s: time that the path needs.
        have_s: time that it has.
        corner: where that is so.
    """

    path: str
    where: str
    need_s: float
    have_s: float
    corner: Corner

    @property
    def margin_s(self) -> float:
        """What is to spare; negative if the path does not close."""
        return self.have_s - self.need_s

    def __str__(self) -> str:
        return (
            f"{self.path} ({self.where}): {1e3 * self.margin_s:.1f} ms to spare, "
            f"{1e3 * self.have_s:.1f} of {1e3 * self.need_s:.1f} needed: {PATHS[self.path]}"
        )
