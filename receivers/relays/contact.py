"""Contact: when a contact is closed, from what its armature does, bounce and all.

The first touch to the last closing is bounce; a relay's own longest bounce is drawn with it, and each closing bounces
for a part of that. Where the coil current is barely above pick-up the contact force is small and the bounce longer.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from .listening import ContactEvents
from .relay_type import Switched

Interval = tuple[float, float]
"""Start and end, in seconds of the capture."""

FIRM = 1.2
"""At this many times the pick-up current and above, a closing bounces as the data sheet says; at pick-up itself twice
as long (modelling prior)."""

LEAST_BOUNCE = 0.5
"""A closing bounces for this share to all of the relay's longest bounce."""


BOUNCES = ("drawn", "longest", "shortest")


@dataclass(frozen=True, slots=True)
class Closure:
    """One stay of a switched relay's make contact.

    Attributes:
        touch_s: first touch.
        solid_s: last closing: bounce is over.
        leave_s: it opens.
        gone_s: the break contact has closed.
    """

    touch_s: float
    solid_s: float
    leave_s: float
    gone_s: float


def bounce_s(current_a: float, pick_up_a: float, longest_s: float) -> float:
    """How long a closing at ``current_a`` can bounce.

    >>> bounce_s(0.030, 0.020, 0.002), bounce_s(0.020, 0.020, 0.002)
    (0.002, 0.004)
    """
    weak = (FIRM - current_a / pick_up_a) / (FIRM - 1.0)
    return longest_s * (1.0 + min(max(weak, 0.0), 1.0))


def contact_intervals(
    events: ContactEvents,
    end_s: float,
    pick_up_a: float,
    longest_s: float,
    bounces: str,
    rng: np.random.Generator,
) -> tuple[list[Interval], list[Interval]]:
    """When the make contact of an input relay is closed, bounce fragments apart, and when the break contact is.

    Args:
        events: of its armature.
        end_s: end of the capture.
        pick_up_a: of the coil.
        longest_s: the relay's longest bounce.
        bounces: one of ``BOUNCES``.
        rng: draws each bounce, if they are drawn.
    """
    from ...kernels.rectified_coil import BREAK_CLOSES, BREAK_OPENS, MAKE_CLOSES

    makes: list[Interval] = []
    breaks: list[Interval] = []
    make_since: Interval | None = None
    break_since: float | None = 0.0
    for time_s, kind, current in zip(
        events.times_s.tolist(), events.kinds.tolist(), events.currents_a.tolist(), strict=True
    ):
        if kind == MAKE_CLOSES:
            make_since = (time_s, bounce_s(current, pick_up_a, longest_s))
        elif kind == BREAK_CLOSES:
            break_since = time_s + longest_s
        elif kind == BREAK_OPENS:
            if break_since is not None and time_s > break_since:
                breaks.append((break_since, time_s))
            break_since = None
        else:
            if make_since is not None:
                makes += _bouncing(*make_since, time_s, bounces, rng)
            make_since = None
    if make_since is not None:
        makes += _bouncing(*make_since, end_s, bounces, rng)
    if break_since is not None and end_s > break_since:
        breaks.append((break_since, end_s))
    return makes, breaks


def _bouncing(
    touch_s: float, longest_s: float, open_s: float, bounces: str, rng: np.random.Generator
) -> list[Interval]:
    """The closed parts of one closing that bounces."""
    if bounces == "drawn":
        share = LEAST_BOUNCE + (1 - LEAST_BOUNCE) * rng.random()
        openings = 1 + int(rng.integers(3))
        cuts = [*np.sort(rng.random(2 * openings - 1)) * share, share]
    else:
        share = 1.0 if bounces == "longest" else LEAST_BOUNCE
        cuts = [0.25 * share, 0.5 * share, 0.75 * share, share]
    edges = [touch_s, *(touch_s + longest_s * float(cut) for cut in cuts), open_s]
    return [(start, min(end, open_s)) for start, end in zip(edges[::2], edges[1::2], strict=True) if start < open_s]


def follow(coil: Iterable[Interval], relay: Switched) -> tuple[list[Closure], list[Interval]]:
    """What a switched relay's contact does while its coil is on, and the pulses too short for it to come in.

    A pulse that comes before the last has let go holds on.
    """
    closures: list[Closure] = []
    short: list[Interval] = []
    for start, end in coil:
        leave, gone = end + relay.leave_s, end + relay.release_s
        if closures and start < closures[-1].leave_s:
            last = closures[-1]
            closures[-1] = Closure(last.touch_s, last.solid_s, max(leave, last.leave_s), max(gone, last.gone_s))
        elif end - start < relay.operate_s:
            short.append((start, end))
        else:
            touch = start + relay.operate_s
            closures.append(Closure(touch, min(touch + relay.bounce_s, leave), leave, gone))
    return closures, short


def overlap(first: Iterable[Interval], second: list[Interval]) -> list[Interval]:
    """The parts that both have in common; each list ascending."""
    found: list[Interval] = []
    place = 0
    for start, end in first:
        while place and second[place - 1][1] > start:
            place -= 1
        while place < len(second) and second[place][1] <= start:
            place += 1
        other = place
        while other < len(second) and second[other][0] < end:
            found.append((max(start, second[other][0]), min(end, second[other][1])))
            other += 1
    return found
