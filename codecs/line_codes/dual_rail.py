"""Two tracks, a burst on one means 0 and on the other 1: a code for relays that has no clock track."""

from __future__ import annotations

from dataclasses import dataclass

from .rail_code import RailCode


@dataclass(frozen=True)
class DualRail(RailCode):
    """One bit a step: a burst on the zero track or on the one track. See ``RailCode`` for what is on the tape.

    The clock of a relay machine is "either contact closed": two contacts in parallel. The bit is the one contact.
    """

    name = "dual_rail"
    summary = "A burst on one track means 0, on the other 1, and is the step as well: relays can read it."
