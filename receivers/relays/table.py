"""Table: which line is held in which steps. The wiring of a loader, as one TOML file describes it.

A clock burst carries the sequencer one step on. Eight bit steps fill the latches; in the steps after them lines drive
the buses, write and count up. A line is held over its steps (``when = "step"``: from the step relay's closing until the
next step's), or only while the clock contact is closed in them (``when = "clock"``: a pulse in each).

``uses`` names lines that must be steady while this one acts; ``through`` names lines whose contacts feed its coil.
A table is written for a byte of 8 bits, one a step, as ``clock_tower`` is; where a stack sends other groups,
``fitting`` gives it as many bit steps as a group takes, moves the later steps along and adds a checking layer's alarm.
A line that may ``copy`` asks for a second bank of latches: its pulse sets them as the first bank stands, and the data
bus shows the second, so that a byte is written while the bits of the next are heard. A line that may ``release`` opens
their holding circuit before. Until the first copy nothing is written or counted, and after the tape the clock key is
pressed by hand, the reset relay switched off, until the last byte is written.

After the last step comes the first. Before the first clock the sequencer stands at home, where no line is held, every
latch is clear and the address is ``first_address``: relays fall back when the power is off.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass

from ...contracts.errors import UsageError
from ...contracts.layer import Layer
from .toml_section import Section, names, read

ACTIONS = ("drive", "write", "count", "clear", "copy", "release", "lamp")
BUSES = ("address", "data")
WHENS = ("step", "clock")
ISOLATIONS = ("diodes", "poles", "none")
BITS = 8


@dataclass(frozen=True, slots=True)
class Line:
    """One line.

    Attributes:
        name: as in the file.
        action: ``drive`` a bus, ``write`` the memory, ``count`` the address up, ``clear`` the latches, ``copy`` them to
            a second bank, ``release`` that, or light a ``lamp``; ``alarm``, which no file gives: see ``fitting``.
        steps: in which it is meant to be held, ascending.
        when: ``step`` or ``clock``.
        bus: which bus it drives; empty unless it does.
        uses, through: names of other lines.
    """

    name: str
    action: str
    steps: tuple[int, ...]
    when: str
    bus: str
    uses: tuple[str, ...]
    through: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Table:
    """One file.

    Attributes:
        name: of the file, without ``.toml``.
        title: what it is.
        content: hash of the file's bytes.
        steps: how many there are, from one byte to the next.
        bit_steps: the steps that bits are heard in; of a file one for each of eight, in their order.
        lines: in the order of the file.
        address_bits: width of the address.
        first_address: where the first byte goes.
        isolation: what keeps a step's lines apart: ``diodes``, separate ``poles`` of the step relay, or ``none``.
        group_bits: how many bits are latched before a byte is shown.
        bits_a_step: how many of them a bit step says.
        group_layers: the layers whose contacts make a byte of a group, outermost first.
        load_layers: those that see the load as a whole.
        comparator: whether a verify pass can compare what is shown against memory.
    """

    name: str
    title: str
    content: str
    steps: int
    bit_steps: tuple[int, ...]
    lines: tuple[Line, ...]
    address_bits: int
    first_address: int
    isolation: str
    group_bits: int = BITS
    bits_a_step: int = 1
    group_layers: tuple[Layer, ...] = ()
    load_layers: tuple[Layer, ...] = ()
    comparator: bool = False

    def line(self, name: str) -> Line:
        """The line called ``name``."""
        return next(line for line in self.lines if line.name == name)

    def acting(self, action: str) -> tuple[Line, ...]:
        """All lines with that action."""
        return tuple(line for line in self.lines if line.action == action)

    @property
    def overlapped(self) -> bool:
        """Whether a second bank of latches holds a byte while the next is heard."""
        return bool(self.acting("copy"))

    @property
    def run_out_steps(self) -> int:
        """How many steps after the last byte's own write it and count it."""
        if not self.overlapped:
            return 0
        return max(step for action in ("write", "count") for step in self.acting(action)[0].steps)

    @property
    def address_space(self) -> int:
        """How many bytes can be addressed."""
        return 1 << self.address_bits

    def check_program(self, payload_bytes: int, first_address: int | None = None) -> None:
        """Refuse a program that does not fit.

        Raises:
            UsageError: longer than the address space from ``first_address`` (the table's own by default) on.
        """
        first = self.first_address if first_address is None else first_address
        if not 0 <= first < self.address_space:
            raise UsageError(f"{self.name}: address {first} must be 0 to {self.address_space - 1}.")
        if payload_bytes > self.address_space - first:
            raise UsageError(
                f"{self.name}: a program of {payload_bytes} bytes from address {first} does not fit "
                f"{self.address_bits} address bits, which leave room for {self.address_space - first}."
            )

    def live_steps(self, line: Line) -> tuple[int, ...]:
        """The steps in which ``line`` is truly held: without isolation, current sneaks through shared wires.

        A step's contact feeds all its lines from one wire. Where nothing isolates them, lines that share a step are
        one wire, and each is held in all steps of all.
        """
        if self.isolation != "none":
            return line.steps
        steps = set(line.steps)
        wired = [other for other in self.lines if other.when == line.when]
        while True:
            joined = {step for other in wired if steps & set(other.steps) for step in other.steps} | steps
            if joined == steps:
                return tuple(sorted(steps))
            steps = joined


def ready_tables() -> tuple[str, ...]:
    """Names of the tables in the package."""
    return names("tables")


def load_table(source: str) -> Table:
    """A table by the name of a ready one, or by a path that ends in ``.toml``.

    >>> load_table("clock_tower").steps
    12

    Raises:
        UsageError: one line that says what is wrong and where in the file.
    """
    top, raw = read(source, "tables")
    steps = top.whole("steps", low=1, high=128)
    bit_steps = top.wholes("bit_steps", 1, steps)
    if not bit_steps:
        raise top.refusal("bit_steps", f"names no step: there must be {BITS} bit steps.")
    if len(bit_steps) != BITS or list(bit_steps) != sorted(bit_steps):
        raise top.refusal("bit_steps", f"must be {BITS} ascending steps, one for each bit, not {len(bit_steps)}.")
    address_bits = top.whole("address_bits", low=1, high=24)
    sections = top.sections("line")
    lines = tuple(_line(section, steps) for section in sections)
    table = Table(
        name=source.removesuffix(".toml").rpartition("/")[2],
        title=top.word("title"),
        content=hashlib.blake2b(raw, digest_size=8).hexdigest(),
        steps=steps,
        bit_steps=bit_steps,
        lines=lines,
        address_bits=address_bits,
        first_address=top.whole("first_address", 0, low=0, high=(1 << address_bits) - 1),
        isolation=top.word("isolation", "diodes", ISOLATIONS),
    )
    top.close()
    _check_names(table, sections)
    _check_circles(table, sections)
    _check_actions(table, top, sections)
    return table


def _line(section: Section, steps: int) -> Line:
    name = section.word("name")
    action = section.word("action", choices=ACTIONS)
    line = Line(
        name=name,
        action=action,
        steps=tuple(sorted(section.wholes("steps", 1, steps))),
        when=section.word("when", "step", WHENS),
        bus=section.word("bus", choices=BUSES) if action == "drive" else "",
        uses=section.words("uses"),
        through=section.words("through"),
    )
    section.close()
    return line


def _check_names(table: Table, sections: tuple[Section, ...]) -> None:
    known = [line.name for line in table.lines]
    for number, (line, section) in enumerate(zip(table.lines, sections, strict=True)):
        if line.name in known[:number]:
            raise section.refusal("name", f"'{line.name}' is the name of an earlier line.")
        for key, others in (("uses", line.uses), ("through", line.through)):
            for other in others:
                if other not in known:
                    raise section.refusal(
                        key, f"of line '{line.name}': there is no line '{other}'; there are: {', '.join(known)}."
                    )
                if not table.line(other).steps:
                    raise section.refusal(
                        key, f"of line '{line.name}': line '{other}' is used but never driven: no step holds it."
                    )
    for line, section in zip(table.lines, sections, strict=True):
        if not line.steps:
            raise section.refusal("steps", f"of line '{line.name}' names no step: it is never driven.")


def _check_circles(table: Table, sections: tuple[Section, ...]) -> None:
    on_the_way: list[str] = []
    done: set[str] = set()

    def visit(name: str) -> None:
        if name in done:
            return
        if name in on_the_way:
            circle = [*on_the_way[on_the_way.index(name) :], name]
            place = next(s for s, line in zip(sections, table.lines, strict=True) if line.name == name)
            key = "uses" if circle[1] in table.line(name).uses else "through"
            raise place.refusal(key, f"goes in a circle: {' -> '.join(circle)}.")
        on_the_way.append(name)
        for other in (*table.line(name).uses, *table.line(name).through):
            visit(other)
        done.add(on_the_way.pop())

    for line in table.lines:
        visit(line.name)


def _check_actions(table: Table, top: Section, sections: tuple[Section, ...]) -> None:
    for action in ("write", "count", "clear"):
        if len(table.acting(action)) != 1:
            raise top.refusal("line", f'needs one line with action = "{action}", not {len(table.acting(action))}.')
    copying, releasing = table.acting("copy"), table.acting("release")
    if len(copying) != len(releasing) or len(copying) > 1:
        raise top.refusal(
            "line",
            f'needs one line with action = "copy" and one with "release", or neither, '
            f"not {len(copying)} and {len(releasing)}.",
        )
    for bus in BUSES:
        if not any(line.bus == bus for line in table.lines):
            raise top.refusal(
                "line", f"needs a line that drives the {bus} bus, which 'write' uses: it is never driven."
            )
    writing = table.acting("write")[0]
    used = {table.line(name).bus for name in writing.uses}
    for bus in BUSES:
        if bus not in used:
            place = next(s for s, line in zip(sections, table.lines, strict=True) if line is writing)
            raise place.refusal("uses", f"of line '{writing.name}' must name a line that drives the {bus} bus.")
