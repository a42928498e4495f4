"""The anatomy of a candidate's failures: which effect, taken away, repairs them.

A failing tape is played again, the same in everything but one: without its dropouts, without its drift, without its
noise and so on, and where simulated hardware listened, once more heard by the codec's own decoder. What repairs it
alone was what it could not bear; several that each repair it acted together; where none does, there was more than one
cause. Beside that stands what the decoder met: bits that were wrong, not heard, or slipped, and what it said.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from ..contracts import registry
from ..contracts.decoded import Decoded
from ..contracts.errors import in_one_line
from .bit_trace import MISSING, WRONG
from .causes import causes, without
from .replay import OWN_DECODER, Replay, Replayed

MOST_TAPES = 6
"""Failing tapes of a candidate that are taken apart."""

MOST_SOUGHT = 200
"""Tapes that are played again to find them."""

_MOST_TOLD = 8
_LONGEST_TOLD = 90
_FIGURES = re.compile(r"[+-]?\d[\d.,]*")
_UNHEARD_SHARE = 0.9
"""A tape of which so much was not heard was not found at all."""


@dataclass(frozen=True, slots=True)
class Dissected:
    """One failing tape.

    Attributes:
        trial: which.
        outcome: detected or silent.
        repaired_by: the causes that, taken away alone, leave a right load; a receiver's name stands for its hardware.
        wrong, missing, slips: bits heard as the other, bits not heard, changes of the count.
        first_s: where on the capture the trouble begins; None if no bit was wrong.
        bits: on the tape.
        told: what the decoder noticed that it does not notice on a fresh tape.
    """

    trial: int
    outcome: str
    repaired_by: tuple[str, ...]
    wrong: int
    missing: int
    slips: int
    bits: int
    first_s: float | None
    told: tuple[str, ...]

    @property
    def sign(self) -> str:
        """What the loss looks like, in the bits."""
        if self.missing >= _UNHEARD_SHARE * self.bits:
            return "not found"
        if self.slips:
            return "out of step"
        if self.missing > self.wrong:
            return "bits not heard"
        return "bits wrong" if self.wrong else "bits right, load refused"


@dataclass(frozen=True, slots=True)
class Anatomy:
    """What a candidate's failures were.

    Attributes:
        tried: the causes that were taken away, one at a time.
        sought: tapes that were played again to find failing ones.
        tapes: the failing ones taken apart.
    """

    tried: tuple[str, ...]
    sought: int
    tapes: tuple[Dissected, ...]

    def as_json(self) -> dict[str, Any]:
        """Plain data."""
        alone = Counter(tape.repaired_by[0] for tape in self.tapes if len(tape.repaired_by) == 1)
        shared = Counter(cause for tape in self.tapes if len(tape.repaired_by) > 1 for cause in tape.repaired_by)
        return {
            "sought": self.sought,
            "tapes": [
                {
                    "trial": tape.trial,
                    "outcome": tape.outcome,
                    "repaired_by": list(tape.repaired_by),
                    "sign": tape.sign,
                    "wrong": tape.wrong,
                    "missing": tape.missing,
                    "slips": tape.slips,
                    "bits": tape.bits,
                    "first_s": tape.first_s,
                }
                for tape in self.tapes
            ],
            "causes": [{"cause": cause, "alone": alone[cause], "shared": shared[cause]} for cause in self.tried],
            "by_none": sum(not tape.repaired_by for tape in self.tapes),
            "signs": dict(Counter(tape.sign for tape in self.tapes).most_common()),
            "told": [
                {"what": what, "tapes": tapes}
                for what, tapes in Counter(
                    what for tape in self.tapes for what in dict.fromkeys(tape.told)
                ).most_common(_MOST_TOLD)
            ],
        }


def anatomy(
    replay: Replay, trials: int, failures: int, most_tapes: int = MOST_TAPES, played: Callable[[], None] = lambda: None
) -> Anatomy:
    """Find failing tapes among the first ``trials`` and take them apart.

    Args:
        replay: the candidate.
        trials: tapes of the study.
        failures: how many of them failed; the search ends when as many are found.
        most_tapes: taken apart at most.
        played: called after every tape played.
    """
    hardware = replay.by_hardware
    acting = causes(replay.channel)
    ordinary = _told(replay.fresh().decoded, hardware) if failures else ()
    tried = (*acting, *([replay.receiver.name] if hardware else []))
    found: list[Dissected] = []
    sought = 0
    for trial in range(min(trials, MOST_SOUGHT)):
        if len(found) >= min(failures, most_tapes):
            break
        once = replay.play(trial)
        sought += 1
        played()
        if once.tally.right:
            continue
        repaired: list[str] = []
        for cause, names in acting.items():
            if replay.play(trial, channel=without(replay.channel, names)).tally.right:
                repaired.append(cause)
            played()
        if hardware:
            if replay.play(trial, receiver=registry.receiver(OWN_DECODER)).tally.right:
                repaired.append(replay.receiver.name)
            played()
        told = tuple(what for what in _told(once.decoded, hardware) if what not in ordinary)
        found.append(_dissected(replay, trial, once, tuple(repaired), told))
    return Anatomy(tried, sought, tuple(found))


def _dissected(
    replay: Replay, trial: int, once: Replayed, repaired_by: tuple[str, ...], told: tuple[str, ...]
) -> Dissected:
    followed = replay.follow(once)
    first = followed.first_trouble(replay.codec.guaranteed_burst_ms(len(replay.program)) > 0)
    first_s = None if first is None else float(followed.times_s[first])
    return Dissected(
        trial=trial,
        outcome="silent" if once.tally.silent else "detected",
        repaired_by=repaired_by,
        wrong=int((followed.states == WRONG).sum()),
        missing=int((followed.states == MISSING).sum()),
        slips=len(followed.slips),
        bits=followed.sent.size,
        first_s=None if first_s is None or np.isnan(first_s) else round(first_s, 4),
        told=told,
    )


def _told(decoded: Decoded, hardware: bool) -> tuple[str, ...]:
    """What was noticed, without its figures, so that the same thing on two tapes counts as one.

    What hardware does wrong begins with the class of the fault.
    """
    said = (event.what.split(":")[0] if hardware else event.what for event in decoded.events)
    return tuple(in_one_line(_FIGURES.sub("#", what).strip(), _LONGEST_TOLD) for what in said)
