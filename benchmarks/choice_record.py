"""A choice as plain data, ready for JSON, and in sentences."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from ..contracts import registry
from .assumptions import LADDER, Assumption
from .candidates import Candidate
from .limits import SIDES, Limits
from .records import Record, records
from .refusals import Refusal
from .statistics import at_least, at_most
from .trials import Result
from .verdict import Choice, Finalist

CASSETTE = "C60"
"""Whose side a load is compared with where no side was asked for."""


def rows(choice: Choice) -> tuple[Record, ...]:
    """The rows of the finals that are shown, the recommended format first; each has the seed of its own tapes."""
    found: list[Record] = []
    for finalist in choice.shown:
        study = choice.course.study((finalist.candidate,), finalist.final.tapes, "final", finalist.number)
        (task,) = study.tasks()
        found += records(study, (Result(task, finalist.tally),))
    return tuple(found)


def as_json(choice: Choice) -> dict[str, Any]:
    """Everything; ``rows`` are as ``compare --json`` prints them."""
    return {
        "limits": choice.limits.as_json(),
        "channel_spec": registry.channel(choice.course.channel).spec,
        "receiver_spec": registry.receiver(choice.course.receiver).spec,
        "program": choice.course.program_name,
        "payload_bytes": len(choice.course.program),
        "seed": choice.course.seed,
        "rows": [row.as_json() for row in rows(choice)],
        "shown": [_finalist(finalist, choice.limits) for finalist in choice.shown],
        "failed": [_finalist(finalist, choice.limits) for finalist in choice.failed],
        "rejected": [{"family": one.family, "limit": one.limit, "why": one.words} for one in choice.rejected],
        "assumptions": [_assumption(one) for one in choice.assumptions],
        "nearest_miss": _miss(choice),
        "tapes_played": choice.tapes,
        "candidates": choice.tried[0],
        "candidates_raced": choice.tried[1],
        "sentences": list(sentences(choice)),
    }


def parts(candidate: Candidate, limits: Limits) -> str:
    """What decodes it."""
    if limits.decoder == "relays":
        return f"{candidate.relays} relays"
    needs = candidate.codec.needs
    return f"a {'microcontroller' if needs == 'relays' else needs}"


def silent_bound(finalist: Finalist) -> float:
    """The greatest chance of a silent loss: what the check states, or what the tapes leave, one-sided 95 %."""
    stated = finalist.candidate.codec.lies_at_most
    return at_most(finalist.tally.silent, finalist.tally.trials) if stated is None else stated


def side_share(candidate: Candidate, limits: Limits) -> tuple[float, str]:
    """Share of a cassette's side, and which."""
    side = limits.side if limits.side != Limits().side else CASSETTE
    return candidate.tape_s / (60.0 * SIDES[side]), side


def trade(finalist: Finalist, winner: Finalist, limits: Limits) -> str:
    """What a runner-up gives for what, against the recommended format."""
    one, best = finalist.candidate, winner.candidate
    ratio = one.tape_s / best.tape_s
    told = [f"{100 * (ratio - 1):+.0f} % load time"] if abs(ratio - 1) >= 0.005 else ["as quick"]
    if parts(one, limits) != parts(best, limits):
        told.append(f"{parts(one, limits)} instead of {parts(best, limits)}")
    mine, its = finalist.tally, winner.tally
    lost, best_lost = 1 - mine.right / mine.trials, 1 - its.right / its.trials
    if lost != best_lost:
        told.append(f"{mine.trials - mine.right} of {mine.trials} tapes lost, not {its.trials - its.right}")
    if len(one.shape) != len(best.shape):
        layers = len(one.shape) - len(best.shape)
        told.append(f"{abs(layers)} {'layer' if abs(layers) == 1 else 'layers'} {'more' if layers > 0 else 'fewer'}")
    return ", ".join(told)


def unit_of(one: Assumption) -> str:
    """The unit of a figure with a space before it, unless its name says it."""
    return f" {one.figure.unit}" if one.figure.unit and one.figure.unit not in one.figure.name else ""


def sentences(choice: Choice) -> Iterator[str]:
    """The answer in words, the recommendation first."""
    limits = choice.limits
    if choice.shown:
        winner = choice.shown[0]
        tally = winner.tally
        shown = at_least(tally.right, tally.trials, winner.final.confidence)
        yield (
            f"Recommended: {winner.candidate.short}; {winner.candidate.tape_s:.3g} s a load, decoded by "
            f"{parts(winner.candidate, limits)}."
        )
        yield (
            f"{tally.right} of {tally.trials} fresh tapes loaded right: a success of at least {100 * shown:.2f} % "
            f"(one-sided, {100 * winner.final.confidence:.4g} % confidence); {winner.final.failures} of them may fail."
        )
    elif choice.miss is not None:
        miss = choice.miss
        yield (
            f"Nothing meets the limits. The nearest miss is {miss.candidate.short}: {miss.refusal.words}; "
            f"{_instead(miss.refusal)}."
        )
    else:
        yield "Nothing meets the limits, and no single one of them is in the way; leave out several, one at a time."
    attempts = len(choice.failed)
    if attempts:
        yield (
            f"{attempts} {'format' if attempts == 1 else 'formats'} came up for a final and failed it; each final has "
            f"tapes of its own, and every failure before the first success doubled the odds asked of the next."
        )
    if choice.assumptions:
        yield _hangs_on(choice.assumptions, choice)


def _instead(refused: Refusal) -> str:
    """What to do about a limit that is in the way."""
    if refused.relax_to is not None:
        return f"relax {refused.limit} to {refused.relax_to}"
    if refused.limit == "side":
        return "no cassette has a longer side: split the program over several sides"
    return f"relax {refused.limit}"


def _hangs_on(found: tuple[Assumption, ...], choice: Choice) -> str:
    first = found[0]
    unit = unit_of(first)
    if first.factor is None:
        return (
            f"No figure that was made {LADDER[-1]:g} times as bad, one at a time, was seen to bring it below the limit."
        )
    lost = first.tally.trials - first.tally.right
    then = "no runner-up holds there" if first.then is None else f"then {first.then.short} is better"
    return (
        f"The answer hangs on {first.figure.name}, taken as {first.figure.value:.3g}{unit}: "
        f"at {first.falls_at:.3g}{unit} it failed {lost} of {first.tally.trials} tapes; {then}."
    )


def _finalist(finalist: Finalist, limits: Limits) -> dict[str, Any]:
    share, side = side_share(finalist.candidate, limits)
    tally = finalist.tally
    return {
        "codec": finalist.candidate.short,
        "codec_spec": finalist.candidate.codec.spec,
        "tape_s": finalist.candidate.tape_s,
        "relays": finalist.candidate.relays,
        "side": side,
        "share_of_side": share,
        "silent_at_most": silent_bound(finalist),
        "success_at_least": at_least(tally.right, tally.trials, finalist.final.confidence),
        "confidence": finalist.final.confidence,
        "trials": tally.trials,
        "right": tally.right,
        "failures_allowed": finalist.final.failures,
        "passed": finalist.passed,
    }


def _assumption(one: Assumption) -> dict[str, Any]:
    return {
        "figure": one.figure.name,
        "parameter": one.figure.parameter,
        "unit": one.figure.unit,
        "value": one.figure.value,
        "holds_to": one.holds_to,
        "falls_at": one.falls_at,
        "trials": one.tally.trials,
        "right": one.tally.right,
        "then": None if one.then is None else one.then.codec.spec,
        "kinder": one.kinder,
        "quicker": None if one.quicker is None else one.quicker.codec.spec,
    }


def _miss(choice: Choice) -> dict[str, Any] | None:
    if choice.miss is None:
        return None
    return {
        "codec": choice.miss.candidate.short,
        "codec_spec": choice.miss.candidate.codec.spec,
        "limit": choice.miss.refusal.limit,
        "why": choice.miss.refusal.words,
        "relax_to": choice.miss.refusal.relax_to,
        "final": None if choice.miss.finalist is None else _finalist(choice.miss.finalist, choice.limits),
    }
