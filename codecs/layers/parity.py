"""`parity`: a ninth bit with each byte, an alarm line and a stop.

Nine latches and a chain of their contacts (as of a lamp with many switches) say whether the number of ones is what it
must be; if not, the alarm relay holds itself and opens the clock's feed, and the machine stands at the bad byte until
somebody winds back. Odd parity is the default: a byte of silence, all zeros, raises the alarm.

Where the code has reset marks, one that finds clocks lost or added feeds the same relay, for a contact or two.

It condemns and never vouches: two wrong bits in a byte pass it, so a clean pass is no proof.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from ...contracts.bits import Bits
from ...contracts.decoded import Event
from ...contracts.layer import Heard, Layer
from ...contracts.parameters import parameter
from ...contracts.relay_cost import RelayCost
from ...contracts.soft_bits import LOST, SoftBits
from .passes import summed

WORD_BITS = 8


@dataclass(frozen=True)
class Parity(Layer):
    """A parity bit after each byte."""

    name = "parity"
    summary = "A parity bit with each byte, by contacts alone: alarm and stop at the first bad byte."
    needs = "relays"
    latch_poles: ClassVar[int] = 2
    """A changeover either way in the chain, but one alone at its ends."""

    kind: str = parameter("odd", "Number of ones in a byte and its parity bit.", choices=("odd", "even"))
    stop: bool = parameter(True, "Nothing after the first bad byte is loaded.")

    def coded_bits(self, data_bits: int) -> int:
        return -(-data_bits // WORD_BITS) * (WORD_BITS + 1)

    def encode(self, bits: Bits) -> Bits:
        words = np.concatenate([bits, np.zeros(-bits.size % WORD_BITS, np.uint8)]).reshape(-1, WORD_BITS)
        parity = (words.sum(axis=1) + (self.kind == "odd")) % 2
        return np.column_stack([words, parity.astype(np.uint8)]).ravel()

    def decode(self, passes: tuple[SoftBits, ...]) -> Heard:
        """The bytes without their parity; a bad one, and with ``stop`` all after it, keep their signs but are lost."""
        together = summed(passes)
        read = [self._checked(heard) for heard in (passes if together is None else (together,))]
        condemned = bool(read) and all(events for _, events in read)
        events = tuple(event for _, alarms in read for event in alarms)
        return Heard(tuple(heard for heard, _ in read), False if condemned else None, events)

    def _checked(self, heard: SoftBits) -> tuple[SoftBits, tuple[Event, ...]]:
        words = len(heard) // (WORD_BITS + 1)
        shape, whole = (words, WORD_BITS + 1), slice(words * (WORD_BITS + 1))
        values, times_s = heard.values[whole].reshape(shape), heard.times_s[whole].reshape(shape)
        ones = (values > 0).sum(axis=1)
        bad = np.flatnonzero(ones % 2 != (self.kind == "odd"))
        lost = np.zeros(words, bool)
        if self.stop and bad.size:
            lost[bad[0] :] = True
            alarms = [(bad[0], "parity: alarm at byte {}, stopped")]
        else:
            lost[bad] = True
            alarms = [(place, "parity: alarm at byte {}") for place in bad]
        kept = np.where(lost[:, None], np.clip(values, -LOST, LOST), values)[:, :WORD_BITS]
        events = tuple(Event(text.format(place), float(times_s[place, 0])) for place, text in alarms)
        return SoftBits(kept.ravel(), times_s[:, :WORD_BITS].ravel()), events

    def bits_in_group(self, bits: int) -> int:
        """See ``RelayLayer``."""
        return self.coded_bits(bits)

    def relay_cost(self) -> RelayCost:
        """See ``RelayLayer``. The chain: a changeover at either end, two on each latch between; the alarm: three."""
        chain = 2 * (WORD_BITS + 1) - 2
        stopped = "and stops there" if self.stop else "and goes on"
        return RelayCost(
            relays=1,
            poles=chain + 3,
            catches=(f"any odd number of wrong bits in a byte, {stopped}",),
            misses=("an even number of wrong bits in a byte; bytes lost or doubled",),
        )
