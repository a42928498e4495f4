"""The relay receiver: simulated hardware that listens to a tape."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ...contracts import bits as bytes_and_bits
from ...contracts.codec import Codec
from ...contracts.decoded import Decoded
from ...contracts.errors import UsageError
from ...contracts.keying import KeyedLineCode, Keying
from ...contracts.parameters import parameter
from ...contracts.receiver import Receiver
from ...contracts.relay_cost import obstacle
from ...contracts.signal import Signal
from ...contracts.soft_bits import CERTAIN, SoftBits
from .loader import Load, load
from .machine import Machine, build, random_place
from .pace import contact_limit_bits_per_s
from .relay_set import RelaySet, load_set
from .suitability import reason_against
from .table import Table, load_table
from .verify import Verified, compare


@dataclass(frozen=True)
class Relays(Receiver):
    """A relay machine, drawn anew from its set's spreads for each tape.

    Of several plays it keeps the last: a second load overwrites the first.
    """

    name = "relays"
    summary = "A simulated relay machine: front end, contacts, sequencer and memory, with what they do wrong."

    set: str = parameter("signal_12v", "Relays and electronics: a ready set, or a path that ends in .toml.")
    table: str = parameter("clock_tower", "Which line is held in which steps: a ready table, or a path.")
    content: str = parameter("", "Hash of what the two files hold; filled in, and checked if given.")

    def check(self) -> None:
        """See ``PlugIn``: reads both files, so that a wrong one is met before any tape is made."""
        relays, table = self.files()
        content = f"{relays.content}-{table.content}"
        if self.content not in ("", content):
            raise UsageError(
                f"relays: set '{self.set}' and table '{self.table}' hold {content} now, not {self.content}: "
                f"they have changed since that was written."
            )
        object.__setattr__(self, "content", content)

    def files(self) -> tuple[RelaySet, Table]:
        """What the two files hold."""
        return load_set(self.set), load_table(self.table)

    def refusal(self, codec: Codec) -> str | None:
        """See ``Receiver``."""
        against = obstacle(codec)
        if against is not None:
            return f"relays: {against}."
        if not isinstance(codec.line_code, KeyedLineCode):
            return f"relays: '{codec.line_code.name}' is not made of keyed tone bursts, which a relay can follow."
        relays, table = self.files()
        return reason_against(codec.line_code.keying(), relays, table)

    def limit_bits_per_s(self, codec: Codec) -> float | None:
        """See ``Receiver``: what the contacts can follow in the worst corner."""
        if self.refusal(codec) is not None or not isinstance(codec.line_code, KeyedLineCode):
            return None
        return contact_limit_bits_per_s(codec.line_code, *self.files())

    def load(self, codec: Codec, signal: Signal, rng: np.random.Generator, first_address: int | None = None) -> Load:
        """One play into one machine, with everything that happened.

        Raises:
            UsageError: a codec that relays cannot decode.
        """
        keying, table, machine = self._built(codec, rng)
        return load(signal, machine, table, keying, rng, first_address)

    def verify(self, codec: Codec, first: Signal, second: Signal, rng: np.random.Generator) -> Verified:
        """Two plays into one machine: the first is loaded, the second compared against memory.

        Raises:
            UsageError: a codec that relays cannot decode.
        """
        keying, table, machine = self._built(codec, rng)
        kept = load(first, machine, table, keying, rng).memory.cells
        return compare(kept, load(second, machine, table, keying, rng))

    def _built(self, codec: Codec, rng: np.random.Generator) -> tuple[Keying, Table, Machine]:
        reason = self.refusal(codec)
        if reason is not None:
            raise UsageError(reason)
        relays, table = self.files()
        keying = _keying(codec)
        return keying, table, build(relays, table, keying, random_place(rng))

    def receive(self, codec: Codec, signals: tuple[Signal, ...], rng: np.random.Generator) -> Decoded:
        """See ``Receiver``. ``intact`` is None unless a layer checks; ``events`` are the faults of the load.

        Raises:
            UsageError: a codec that relays cannot decode (ask ``refusal`` first).
        """
        last = signals[-1] if signals else Signal(np.zeros((2, 0), np.float32), 44_100)
        loaded = self.load(codec, last, rng)
        heard = np.where(bytes_and_bits.from_bytes(loaded.image) > 0, CERTAIN, -CERTAIN)
        for place in loaded.unwritten:
            heard[8 * place : 8 * place + 8] = 0.0
        events = tuple(fault.event() for fault in loaded.faults)
        return codec.read((SoftBits(heard, np.repeat(loaded.times_s, 8), events),))


def _keying(codec: Codec) -> Keying:
    assert isinstance(codec.line_code, KeyedLineCode)  # refusal has said so
    return codec.line_code.keying()
