"""Refusals: which limit a candidate breaks, by arithmetic, before any tape is played."""

from __future__ import annotations

from dataclasses import dataclass

from ..contracts.errors import UsageError, in_one_line
from ..contracts.line_code import NEEDS
from ..contracts.receiver import Receiver
from .candidates import Candidate
from .final import Final
from .limits import SIDES, Limits

STAGES = ("decoder", "receiver", "relays_at_most", "silent_at_most", "side", "load_time_at_most_s", "success_at_least")
"""What a candidate is asked, in this order. One that gets further missed by less."""

FAR = 1e6
"""The miss of what no number would mend."""

OTHER_DECODER = 1e5
"""The miss of what takes another decoder: the person named theirs, so whatever a number mends is nearer."""

_LEAST_CHANCE = 1e-12
"""A limit below it is taken for it, so that even 0 is missed by something."""


@dataclass(frozen=True)
class Refusal:
    """Why a candidate is out.

    Attributes:
        limit: one of ``STAGES``.
        words: for a person.
        miss: by what factor, or a share; of refusals at one stage the least is told.
        relax_to: the value of the limit with which it would pass; None where no value would help, or none is known.
    """

    limit: str
    words: str
    miss: float
    relax_to: float | int | str | None = None

    @property
    def order(self) -> tuple[int, float]:
        """Greater for what got further, or missed by less."""
        return STAGES.index(self.limit), -self.miss


def refusals(
    candidate: Candidate, limits: Limits, receiver: Receiver, final: Final, payload_bytes: int
) -> tuple[Refusal, ...]:
    """Every limit that ``candidate`` breaks, in the order of ``STAGES``; empty if the tapes must decide.

    Args:
        payload_bytes: of the program, for which ``receiver`` must have room.
    """
    needs = candidate.codec.needs
    found: list[Refusal | None] = []
    if NEEDS.index(needs) > NEEDS.index(limits.decoder):
        found.append(Refusal("decoder", f"needs a {needs}", OTHER_DECODER * NEEDS.index(needs), needs))
    elif (refused := receiver.refusal(candidate.codec)) is not None:
        found.append(_by_receiver(refused, receiver))
    else:
        try:
            receiver.check_load(candidate.codec, payload_bytes)
        except UsageError as error:
            found.append(_by_receiver(str(error), receiver))
    found += [check(candidate, limits, final) for check in (_relays, _silent, _side, _load_time)]
    return tuple(each for each in found if each is not None)


def _by_receiver(why: str, receiver: Receiver) -> Refusal:
    return Refusal("receiver", in_one_line(why.removeprefix(f"{receiver.name}: ").rstrip("."), 160), FAR)


def _relays(candidate: Candidate, limits: Limits, final: Final) -> Refusal | None:
    most, relays = limits.relays_at_most, candidate.relays
    if most is None or relays is None or relays <= most:
        return None
    return Refusal("relays_at_most", f"{relays} relays > {most}", relays / most, relays)


def _silent(candidate: Candidate, limits: Limits, final: Final) -> Refusal | None:
    most = limits.silent_at_most
    if most is None:
        return None
    stated = candidate.codec.lies_at_most
    if stated is not None:
        if stated <= most:
            return None
        words = f"its check lets {stated:.1e} of damaged loads pass > {most:g}"
        return Refusal("silent_at_most", words, _factor(stated, most), up(stated))
    shown = final.silent_shown
    if shown <= most:
        return None
    return Refusal(
        "silent_at_most",
        f"has no check: {final.tapes} tapes without a silent loss show {shown:.1e} > {most:g}",
        _factor(shown, most),
        up(shown),
    )


def _side(candidate: Candidate, limits: Limits, final: Final) -> Refusal | None:
    if candidate.tape_s <= limits.side_s:
        return None
    minutes, side = candidate.tape_s / 60, limits.side_s / 60
    larger = next((name for name, length in SIDES.items() if length >= minutes), None)
    words = f"plays {minutes:.3g} min > {side:g} min, a side of a {limits.side}"
    return Refusal("side", words, minutes / side, larger)


def _load_time(candidate: Candidate, limits: Limits, final: Final) -> Refusal | None:
    most = limits.load_time_at_most_s
    if most is None or candidate.tape_s <= most:
        return None
    words = f"load time {candidate.tape_s:.3g} s > {most:g} s"
    return Refusal("load_time_at_most_s", words, candidate.tape_s / most, up(candidate.tape_s))


def _factor(value: float, most: float) -> float:
    """How far ``value`` is beyond ``most``: below a wrong decoder, however small the limit."""
    ratio = value / max(most, _LEAST_CHANCE)
    return OTHER_DECODER * ratio / (OTHER_DECODER + ratio)


def up(value: float, digits: int = 3) -> float:
    """The next greater number of so many digits.

    >>> up(1.2713)
    1.28
    """
    rounded = float(f"{value:.{digits}g}")
    return rounded if rounded >= value else float(f"{value + 5 * value * 10.0**-digits:.{digits}g}")
