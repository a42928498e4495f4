"""The relay receiver: simulated hardware that listens to a tape."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ...contracts import bits as bytes_and_bits
from ...contracts.codec import Codec
from ...contracts.decoded import Decoded
from ...contracts.errors import UsageError
from ...contracts.keying import KeyedLineCode, Keying
from ...contracts.parameters import parameter
from ...contracts.play import Play, heard_play
from ...contracts.receiver import Receiver
from ...contracts.relay_cost import RelayLineCode, obstacle
from ...contracts.signal import Signal
from ...contracts.soft_bits import CERTAIN, SoftBits
from .fault import DIFFERENCE, Fault
from .fitting import fitted, load_layers
from .load_record import Load
from .loader import load
from .machine import Machine, build, random_place
from .pace import contact_limit_bits_per_s, follows, shortest
from .parts import parts
from .relay_set import RelaySet, load_set
from .suitability import reason_against
from .table import BITS, Table, load_table
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
    relay_spread: float = parameter(
        1.0, "How far the relays' times, pick-up and drop-out lie apart, times what the set states.", low=0, high=10
    )
    verify: bool = parameter(False, "The last play, or the only one again, is compared against memory.")
    content: str = parameter("", "Hash of what the two files hold; filled in, and checked if given.")

    def check(self) -> None:
        """See ``PlugIn``: reads both files, so that a wrong one is met before any tape is made."""
        relays, table = self.files()
        object.__setattr__(self, "content", _content(relays, table))

    def files(self) -> tuple[RelaySet, Table]:
        """What the two files hold, the relays as far apart as ``relay_spread`` says.

        Raises:
            UsageError: files that hold no machine, or another than ``content`` says: what is counted of one machine
                never stands under the name of another, even where a file is edited while tapes play.
        """
        relays, table = load_set(self.set), load_table(self.table)
        content = _content(relays, table)
        if self.content not in ("", content):
            raise UsageError(
                f"relays: set '{self.set}' and table '{self.table}' hold {content} now, not {self.content}: "
                f"they have changed since that was written; put them back, or begin anew with what they hold now."
            )
        return relays if self.relay_spread == 1 else relays.spread(self.relay_spread), table

    def refusal(self, codec: Codec) -> str | None:
        """See ``Receiver``.

        Raises:
            UsageError: as ``files``, which says nothing against the codec.
        """
        against = obstacle(codec)
        if against is not None:
            return f"relays: {against}."
        if not isinstance(codec.line_code, KeyedLineCode):
            return f"relays: '{codec.line_code.name}' is not made of keyed tone bursts, which a relay can follow."
        relays, table = self.files()
        try:
            return reason_against(codec.line_code.keying(), relays, self._fitted(table, codec))
        except UsageError as error:
            return str(error)

    def wiring(self, codec: Codec) -> tuple[RelaySet, Table]:
        """What the two files hold, the table fitted to the groups of ``codec``, which relays can decode.

        Raises:
            UsageError: a table that cannot be fitted to such groups, or as ``files``.
        """
        relays, table = self.files()
        return relays, self._fitted(table, codec)

    def _fitted(self, table: Table, codec: Codec) -> Table:
        return replace(fitted(table, codec), comparator=self.verify)

    def memory_bytes(self, codec: Codec, payload_bytes: int) -> int:
        """Cells that a load fills: the program, and what of the code is not taken off before it is written."""
        bits = BITS * payload_bytes
        for layer in load_layers(codec):
            bits = layer.coded_bits(bits)
        return -(-bits // BITS)

    def check_load(self, codec: Codec, payload_bytes: int) -> None:
        """See ``Receiver``: no more bytes than the table can address."""
        self.files()[1].check_program(self.memory_bytes(codec, payload_bytes))

    def limit_bits_per_s(self, codec: Codec) -> float | None:
        """See ``Receiver``: what the contacts can follow in the worst corner."""
        if self.refusal(codec) is not None or not isinstance(codec.line_code, KeyedLineCode):
            return None
        return contact_limit_bits_per_s(codec.line_code, *self._timed(codec))

    def quickest(self, codec: Codec) -> Codec | None:
        """See ``Receiver``: the shortest step that closes in the worst corner, up to a tenth of a millisecond."""
        code = self._keyed(codec)
        found = shortest(code, *self._timed(codec))
        return None if found is None else Codec(codec.layers, code.at_step(round(math.ceil(1e4 * found) / 1e4, 4)))

    def follows(self, codec: Codec) -> bool:
        """See ``Receiver``: whether every path closes in the worst corner."""
        return follows(self._keyed(codec), *self._timed(codec))

    def _timed(self, codec: Codec) -> tuple[RelaySet, Table]:
        """The wiring without what no path of timing runs through, so that stacks that differ there share an answer."""
        relays, table = self.wiring(codec)
        return relays, replace(table, load_layers=())

    def relay_count(self, codec: Codec) -> int | None:
        """See ``Receiver``: those of the machine, layers and comparator included."""
        keying = self._keyed(codec).keying()
        return parts(*self.wiring(codec), keying).relay_count

    def _keyed(self, codec: Codec) -> KeyedLineCode:
        reason = self.refusal(codec)
        if reason is not None:
            raise UsageError(reason)
        assert isinstance(codec.line_code, KeyedLineCode)  # refusal has said so
        return codec.line_code

    def load(self, codec: Codec, signal: Signal, rng: np.random.Generator, first_address: int | None = None) -> Load:
        """One play into one machine, with everything that happened.

        Raises:
            UsageError: a codec that relays cannot decode.
        """
        keying, table, machine = self._built(codec, rng)
        return load(signal, machine, table, keying, rng, first_address)

    def verified(self, codec: Codec, first: Signal, second: Signal, rng: np.random.Generator) -> Verified:
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
        relays, table = self.wiring(codec)
        keying = _keying(codec)
        return keying, table, build(relays, table, keying, random_place(rng))

    def receive(self, codec: Codec, signals: tuple[Signal, ...], rng: np.random.Generator) -> Decoded:
        """See ``Receiver``. ``events`` are the faults of the load; ``intact`` is False if the machine has noticed one.

        It notices by an alarm, a ring that does not stand where a tape leaves it, a count of ones, a verify pass;
        otherwise ``intact`` is None.

        Raises:
            UsageError: a codec that relays cannot decode (ask ``refusal`` first), or as ``files``.
        """
        plays = signals or (Signal(np.zeros((2, 0), np.float32), 44_100),)
        keying, table, machine = self._built(codec, rng)
        loaded = load(plays[-2] if self.verify and len(plays) > 1 else plays[-1], machine, table, keying, rng)
        noticed = loaded.shown
        if self.verify:
            again = load(plays[-1], machine, table, keying, rng)
            noticed = (*noticed, *_against(loaded, again, len(plays) > 1))
        return _decoded(codec, loaded, noticed)


def _content(relays: RelaySet, table: Table) -> str:
    return f"{relays.content}-{table.content}"


def _against(loaded: Load, again: Load, anew: bool) -> tuple[Fault, ...]:
    """What a verify pass shows: the first difference, or addresses that it did not reach."""
    found = compare(loaded.memory.cells, again)
    play = "another play" if anew else "the same play"
    if found.difference is not None:
        told, time_s = str(found.difference).strip().partition("  ")[2], found.difference.time_s
        return (Fault(time_s, DIFFERENCE, f"verified against {play}: {told}"),)
    if found.missed:
        text = f"verified against {play}: {len(found.missed)} bytes from address {found.missed[0]} on were not met"
        return (Fault(again.end_s, DIFFERENCE, text),)
    return ()


def _decoded(codec: Codec, loaded: Load, noticed: tuple[Fault, ...]) -> Decoded:
    """What the layers that see the load as a whole make of memory, as far as the machine can know it.

    A counter of ones hears what the latches hear, not what came to stand in memory.
    """
    over = Codec(load_layers(codec), codec.line_code)
    times_s = np.repeat(loaded.times_s, BITS)
    heard = _soft(loaded.image)
    for place in loaded.unwritten:
        heard[BITS * place : BITS * (place + 1)] = 0.0
    faults = sorted({*loaded.faults, *noticed}, key=lambda fault: fault.time_s)
    kept = over.read((SoftBits(heard, times_s, tuple(fault.event() for fault in faults)),))
    counted = kept if loaded.counted == loaded.image else over.read((SoftBits(_soft(loaded.counted), times_s),))
    return replace(kept, intact=False if noticed else counted.intact, plays=(_play(codec, loaded),))


def _play(codec: Codec, loaded: Load) -> Play:
    """The bytes as bits at the pace of the tape, as many to each as its group has."""
    line_code = codec.line_code
    assert isinstance(line_code, RelayLineCode)  # refusal has said so
    bits = line_code.group_bits
    places = np.arange(bits * len(loaded.image)) / bits
    written_s = loaded.times_s
    ends_s = [*written_s, 2 * written_s[-1] - written_s[-2]] if len(written_s) > 1 else [*written_s, *written_s]
    times_s = np.interp(places, np.arange(len(ends_s)), ends_s) if written_s else 0.0
    known = ~np.isin(np.arange(len(loaded.image)), loaded.unwritten)
    return heard_play(line_code, SoftBits(np.repeat(np.where(known, CERTAIN, 0.0), bits), times_s))


def _soft(image: bytes) -> NDArray[np.float64]:
    return np.where(bytes_and_bits.from_bytes(image) > 0, CERTAIN, -CERTAIN)


def _keying(codec: Codec) -> Keying:
    assert isinstance(codec.line_code, KeyedLineCode)  # refusal has said so
    return codec.line_code.keying()
