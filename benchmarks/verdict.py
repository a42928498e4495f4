"""The verdict of a choice: what is shown, what failed, what was rejected and why, as records."""

from __future__ import annotations

from dataclasses import dataclass

from .assumptions import Assumption
from .candidates import Candidate
from .course import Course
from .final import Final
from .limits import Limits
from .refusals import Refusal
from .tally import Tally
from .trials import News


@dataclass(frozen=True)
class Stage:
    """What a choice is doing, told to whoever watches.

    Attributes:
        what: in words.
        news: of the tapes that play now; None between them.
        remaining_s: about how long the whole choice will still take; None as long as that cannot be told.
    """

    what: str
    news: News | None = None
    remaining_s: float | None = None


@dataclass(frozen=True)
class Finalist:
    """A format that played its final.

    Attributes:
        candidate: the format.
        final: what it had to play.
        tally: what it did.
        passed: whether it meets the limits.
        number: which final this was, from 1; with the course it tells the tapes.
    """

    candidate: Candidate
    final: Final
    tally: Tally
    passed: bool
    number: int


@dataclass(frozen=True)
class Miss:
    """The nearest miss, where nothing meets the limits.

    Attributes:
        candidate: the format.
        refusal: the one limit that it breaks, with what to relax it to.
        finalist: its final, where the tapes decided.
    """

    candidate: Candidate
    refusal: Refusal
    finalist: Finalist | None


@dataclass(frozen=True)
class Rejected:
    """A family that is not shown, and the limit that killed it."""

    family: str
    limit: str
    words: str


@dataclass(frozen=True)
class Choice:
    """The answer.

    Attributes:
        limits: as asked.
        course: where everything was played.
        shown: the recommended format and the runners-up; empty if nothing meets the limits.
        failed: formats that came up for a final and failed it.
        rejected: the families that are not shown.
        assumptions: what the recommended format hangs on; empty if nothing is shown.
        miss: the nearest miss, if nothing is shown; None also where nothing is near.
        tapes: how many were played in all.
        tried: how many candidates there were, and how many of them raced.
    """

    limits: Limits
    course: Course
    shown: tuple[Finalist, ...]
    failed: tuple[Finalist, ...]
    rejected: tuple[Rejected, ...]
    assumptions: tuple[Assumption, ...]
    miss: Miss | None
    tapes: int
    tried: tuple[int, int]
