"""Load: what came of one tape: memory, the way of ring and lines, every fault, and the log of it all."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from .contact import Closure
from .fault import SHOWN, Fault
from .memory import Memory
from .sequencer import Count


@dataclass(frozen=True, slots=True)
class Entry:
    """One line of the log: at ``time_s`` of the capture, ``line`` (or step relay, or latch) did ``what``."""

    time_s: float
    line: str
    what: str

    def __str__(self) -> str:
        return f"{self.time_s:9.4f} s  {self.line} {self.what}"


@dataclass(frozen=True, slots=True)
class Pause:
    """The machine at the end of one step, as single stepping shows it.

    Attributes:
        time_s: when the step began.
        step: its number.
        held: lines that were in at some time in it.
        address: of the counter, when the next step begins.
        latches: the bits heard, when the next step begins.
    """

    time_s: float
    step: int
    held: tuple[str, ...]
    address: int
    latches: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Load:
    """What came of a tape.

    Attributes:
        memory: what was written, and how the counter and the latches went.
        count: how the ring went.
        lines: closures of each line, by name.
        faults: in the order of the tape.
        end_s: end of the capture.
    """

    memory: Memory
    count: Count
    lines: dict[str, list[Closure]]
    faults: tuple[Fault, ...]
    end_s: float

    @property
    def shown(self) -> tuple[Fault, ...]:
        """The faults that the machine itself has noticed and shows."""
        return tuple(fault for fault in self.faults if fault.what in SHOWN)

    @property
    def counted(self) -> bytes:
        """The bytes of ``image`` as a counter of ones has heard them: 0 where none was written."""
        written = {address: self.memory.counted_byte(time) for time, address, _ in self.memory.writes}
        return bytes(written.get(address, 0) for address in self._addresses())

    @property
    def image(self) -> bytes:
        """Memory from the first address to the last written or counted; cells never written are 0."""
        return bytes(self.memory.cells.get(address, 0) for address in self._addresses())

    @property
    def unwritten(self) -> tuple[int, ...]:
        """Positions in ``image`` of cells that were never written."""
        return tuple(n for n, address in enumerate(self._addresses()) if address not in self.memory.cells)

    @property
    def times_s(self) -> list[float]:
        """When each byte of ``image`` was written last; of one that was not, when the one before it was."""
        written = {address: time for time, address, _ in self.memory.writes}
        times, last = [], 0.0
        for address in self._addresses():
            last = written.get(address, last)
            times.append(last)
        return times

    def _addresses(self) -> range:
        first = self.memory.first_address
        last = max((address for address in self.memory.cells if address >= first), default=first - 1)
        counted = min(first + len(self.memory.counts), self.memory.address_space) - 1
        return range(first, max(last, counted) + 1)

    def log(self) -> list[Entry]:
        """What each step relay, line and latch did, in the order of the tape."""
        entries = [Entry(time, f"step {step}", "comes in") for time, step in self.count.steps]
        for name, closures in self.lines.items():
            for closure in closures:
                entries += [Entry(closure.touch_s, name, "closes"), Entry(closure.leave_s, name, "opens")]
        entries += [Entry(time, f"bit {bit}", "is latched") for time, bit in self.memory.latched]
        entries += [Entry(time, "latches", "fall") for time in self.memory.cleared]
        entries += [Entry(time, "address", f"is {address}") for time, address in self.memory.counts]
        entries += [Entry(time, f"cell {address}", f"takes {byte:02X}") for time, address, byte in self.memory.writes]
        entries += [Entry(time, "reset mark", f"finds step {step}") for time, step in self.count.resets]
        return sorted(entries, key=lambda entry: entry.time_s)

    def pauses(self) -> Iterator[Pause]:
        """The machine step by step."""
        ends = [time for time, _ in self.count.steps[1:]] + [self.end_s]
        for (start, step), end in zip(self.count.steps, ends, strict=True):
            held = tuple(
                name
                for name, closures in self.lines.items()
                if any(closure.touch_s < end and closure.leave_s > start for closure in closures)
            )
            yield Pause(start, step, held, self.memory.address_at(end), self.memory.latches_at(end))
