"""Random tables, sets and codes, and the two laws of timing that each of them must keep.

Drawn from a generator and not by hypothesis, which varies an example in small steps: one machine takes a second, and
a hundred that resemble each other say little.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from relay_tapes import extreme_place, keyed, tape_of, tape_within
from tapewright.contracts.errors import UsageError
from tapewright.contracts.keying import KeyedLineCode
from tapewright.receivers.relays.edges import PATTERN
from tapewright.receivers.relays.loader import load
from tapewright.receivers.relays.machine import Place, build, random_place
from tapewright.receivers.relays.relay_set import RelaySet, load_set, ready_sets
from tapewright.receivers.relays.relay_type import RelayType
from tapewright.receivers.relays.table import Line, Table
from tapewright.receivers.relays.timing import Timing, shortest_step, timing

SHORT_LEADER = "line_up_s=0.2,leader_s=0.5"
Draw = np.random.Generator


def whole(rng: Draw, low: int, high: int) -> int:
    """A whole number from ``low`` to ``high``, both included."""
    return int(rng.integers(low, high + 1))


def when(rng: Draw) -> str:
    return str(rng.choice(["clock", "step"]))


def line(name: str, action: str, steps: range | tuple[int, ...], when: str, bus: str = "", uses=(), through=()) -> Line:
    return Line(name, action, tuple(steps), when, bus, tuple(uses), tuple(through))


def plain_table(rng: Draw) -> Table:
    """A loader with 5 to 8 steps after its bits: drive, settle, write, count and clear somewhere in them."""
    steps = whole(rng, 13, 16)
    write_when = when(rng)
    # What is held over a step outlasts it: the buses must outlast a write of that kind, and the rest must wait for it.
    lasting = 1 if write_when == "step" else 0
    write = whole(rng, 11, steps - 1 - lasting)
    drive, until = whole(rng, 9, write - 2), whole(rng, write + lasting, steps)
    count, clear = (whole(rng, write + 1 + lasting, steps) for _ in range(2))
    chained = ("address out",) if rng.random() < 0.5 else ()
    held = range(drive, until + 1)
    lines = [
        line("address out", "drive", held, "step", "address"),
        line("data out", "drive", held, "step", "data", through=chained),
        line("write", "write", (write,), write_when, uses=("address out", "data out")),
        line("count", "count", (count,), when(rng)),
        line("clear", "clear", (clear,), "clock" if clear == steps else when(rng)),
    ]
    if rng.random() < 0.5:
        # Another driver of a bus, between the loader's own of two bytes.
        panel = range(whole(rng, 2, 4), whole(rng, 4, 7) + 1)
        lines.append(line("panel out", "drive", panel, "step", str(rng.choice(["address", "data"]))))
    if rng.random() < 0.5:
        lamp = tuple(sorted({whole(rng, 1, steps) for _ in range(3)}))
        through = ("data out",) if set(lamp) <= set(held) else ()
        lines.append(line("lamp", "lamp", lamp, when(rng), through=through))
    return made(rng, steps, tuple(lines))


def overlapped_table(rng: Draw) -> Table:
    """A loader with a second bank and 2 to 6 steps after its bits; the byte before is written in the bit steps."""
    steps, drive = whole(rng, 10, 14), whole(rng, 1, 2)
    write = whole(rng, drive + 2, 4)
    copy = whole(rng, 9, steps - 1)
    held = range(drive, whole(rng, write, 6) + 1)
    lines = (
        line("address out", "drive", held, "step", "address"),
        line("data out", "drive", held, "step", "data"),
        line("write", "write", (write,), "clock", uses=("address out", "data out")),
        line("count", "count", (whole(rng, write + 1, 6),), when(rng)),
        line("release", "release", (whole(rng, write + 1, 8),), "clock"),
        line("copy", "copy", (copy,), "clock"),
        line("clear", "clear", (whole(rng, copy + 1, steps),), "clock"),
    )
    return made(rng, steps, lines)


def made(rng: Draw, steps: int, lines: tuple[Line, ...]) -> Table:
    return Table(
        name="drawn",
        title="drawn",
        content="",
        steps=steps,
        bit_steps=tuple(range(1, 9)),
        lines=lines,
        address_bits=whole(rng, 4, 10),
        first_address=0,
        isolation=str(rng.choice(["diodes", "poles"])),
    )


def relay_set(rng: Draw) -> RelaySet:
    """A ready set with slower or faster relays, another reservoir and reset delay, other limits of tape and heat."""
    relays = load_set(str(rng.choice(ready_sets())))

    def slowed(kind: RelayType, factor: float) -> RelayType:
        return replace(
            kind,
            operate_s=kind.operate_s.scaled(factor),
            release_s=kind.release_s.scaled(factor),
            released_h=kind.released_h * factor,
            operated_h=kind.operated_h * factor,
        )

    logic = slowed(relays.logic, rng.uniform(0.8, 2.0))
    return replace(
        relays,
        clock=slowed(relays.clock, rng.uniform(0.8, 1.5)),
        logic=logic,
        latch=slowed(logic, rng.uniform(0.8, 1.5)),
        front_end=replace(relays.front_end, reservoir_f=relays.front_end.reservoir_f * rng.uniform(0.2, 2.0)),
        reset_share=rng.uniform(0.35, 0.6),
        tape=replace(relays.tape, speed=rng.uniform(0.0, 0.06), skew_s=rng.uniform(0.0, 1e-3)),
        coldest_c=rng.uniform(-10.0, 20.0),
        hottest_c=rng.uniform(20.0, 60.0),
        worn=rng.uniform(0.0, 0.3),
    )


def code_for(rng: Draw, name: str, table: Table) -> KeyedLineCode:
    share = rng.uniform(0.3, 0.5)
    own = f"lead_ms={rng.uniform(2, 20)},clock_track" if name == "clocked" else "one_track"
    mark, order = rng.choice(["true", "false"]), rng.choice(["msb", "lsb"])
    return keyed(
        f"{name}:burst_share={share},extra_steps={table.steps - 8},reset_mark={mark},bit_order={order},"
        f"{own}={rng.choice(['left', 'right'])},{SHORT_LEADER}"
    )


def closing_machine(name: str, seed: int) -> tuple[KeyedLineCode, RelaySet, Table, Timing]:
    """The first drawn machine that some step closes, with the timing of the shortest.

    A tone that does not suit the drawn reservoir and a bounce that counts at any step are drawn again.
    """
    rng = np.random.default_rng([seed, len(name)])
    while True:
        table = (plain_table if rng.random() < 0.6 else overlapped_table)(rng)
        code, relays = code_for(rng, name, table), relay_set(rng)
        try:
            found = shortest_step(code, relays, table)
        except UsageError:
            continue
        if found is not None:
            return code, relays, table, found


def loads(
    code: KeyedLineCode, relays: RelaySet, table: Table, place: Place, seed: int, payload: bytes
) -> tuple[bool, object]:
    """Whether a tape within the set's limits loads into the machine that stands at ``place``, and its faults."""
    rng = np.random.default_rng(seed)
    signal = tape_within(code, payload, relays, rng)
    loaded = load(signal, build(relays, table, code.keying(), place), table, code.keying(), rng)
    return loaded.image == payload, loaded.faults


def corner_loads(found: Timing, number: int, code: KeyedLineCode, relays: RelaySet, table: Table) -> bool:
    """Whether the machine and the tape of one margin's corner load."""
    corner = found.margins[number].corner
    machine = build(relays, table, code.keying(), corner.place(), corner.bounces)
    signal = tape_of(corner, code, PATTERN, relays)
    return load(signal, machine, table, code.keying(), np.random.default_rng(0)).image == PATTERN


def keeps_the_two_laws(name: str, seed: int) -> None:
    """What timing calls safe never fails, and at 0.8 of its step some corner does."""
    code, relays, table, found = closing_machine(name, seed)
    assert found.closes
    at_limit = code.at_step(found.step_s)
    payload = np.random.default_rng(seed).bytes(2) + PATTERN
    for number in range(9):
        rng = np.random.default_rng([seed, number])
        place = random_place(rng) if number % 3 == 2 else extreme_place(rng)
        right, faults = loads(at_limit, relays, table, place, seed + number, payload)
        assert right, (found.step_s, str(found.limiting), faults)
    # The corners of the tightest paths are the harshest machines of all.
    for number in range(min(8, len(found.margins))):
        assert corner_loads(found, number, at_limit, relays, table), str(found.margins[number])
    faster = code.at_step(0.8 * found.step_s)
    tight = timing(faster, relays, table)
    assert not tight.closes
    failing = [number for number, margin in enumerate(tight.margins) if margin.margin_s < 0]
    assert any(not corner_loads(tight, number, faster, relays, table) for number in failing[:8]), str(tight.limiting)
