"""Random tables, sets and codes, and the two laws of timing that each of them must keep."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from hypothesis import assume
from hypothesis import strategies as st
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
WHENS = st.sampled_from(["clock", "step"])


def line(name: str, action: str, steps: tuple[int, ...], when: str, bus: str = "", uses=(), through=()) -> Line:
    return Line(name, action, steps, when, bus, tuple(uses), tuple(through))


@st.composite
def plain_tables(draw: st.DrawFn) -> Table:
    """A loader with 4 to 8 steps after its bits: drive, settle, write, count and clear somewhere in them."""
    steps = draw(st.integers(13, 16))
    write_when = draw(WHENS)
    # What is held over a step outlasts it: the buses must outlast a write of that kind, and the rest must wait for it.
    lasting = 1 if write_when == "step" else 0
    write = draw(st.integers(11, steps - 1 - lasting))
    drive = draw(st.integers(9, write - 2))
    until = draw(st.integers(write + lasting, steps))
    count, clear = (draw(st.integers(write + 1 + lasting, steps)) for _ in range(2))
    chained = ("address out",) if draw(st.booleans()) else ()
    held = tuple(range(drive, until + 1))
    lines = [
        line("address out", "drive", held, "step", "address"),
        line("data out", "drive", held, "step", "data", through=chained),
        line("write", "write", (write,), write_when, uses=("address out", "data out")),
        line("count", "count", (count,), draw(WHENS)),
        line("clear", "clear", (clear,), "clock" if clear == steps else draw(WHENS)),
    ]
    if draw(st.booleans()):
        # Another driver of a bus, off again before the loader's own.
        first = draw(st.integers(1, 5))
        panel = tuple(range(first, draw(st.integers(first, 6)) + 1))
        lines.append(line("panel out", "drive", panel, "step", draw(st.sampled_from(["address", "data"]))))
    if draw(st.booleans()):
        lamp = tuple(sorted(draw(st.sets(st.integers(1, steps), min_size=1, max_size=4))))
        through = ("data out",) if set(lamp) <= set(held) else ()
        lines.append(line("lamp", "lamp", lamp, draw(WHENS), through=through))
    return made(draw, steps, tuple(lines))


@st.composite
def overlapped_tables(draw: st.DrawFn) -> Table:
    """A loader with a second bank and 2 to 6 steps after its bits; the byte before is written in the bit steps."""
    steps = draw(st.integers(10, 14))
    drive = draw(st.integers(1, 2))
    write = draw(st.integers(drive + 2, 4))
    until = draw(st.integers(write, 6))
    count = draw(st.integers(write + 1, 6))
    release = draw(st.integers(write + 1, 8))
    copy = draw(st.integers(9, steps - 1))
    held = tuple(range(drive, until + 1))
    lines = (
        line("address out", "drive", held, "step", "address"),
        line("data out", "drive", held, "step", "data"),
        line("write", "write", (write,), "clock", uses=("address out", "data out")),
        line("count", "count", (count,), draw(WHENS)),
        line("release", "release", (release,), "clock"),
        line("copy", "copy", (copy,), "clock"),
        line("clear", "clear", (draw(st.integers(copy + 1, steps)),), "clock"),
    )
    return made(draw, steps, lines)


def made(draw: st.DrawFn, steps: int, lines: tuple[Line, ...]) -> Table:
    return Table(
        name="drawn",
        title="drawn",
        content="",
        steps=steps,
        bit_steps=tuple(range(1, 9)),
        lines=lines,
        address_bits=draw(st.integers(4, 10)),
        first_address=0,
        isolation=draw(st.sampled_from(["diodes", "poles"])),
    )


def tables() -> st.SearchStrategy[Table]:
    return plain_tables() | overlapped_tables()


@st.composite
def relay_sets(draw: st.DrawFn) -> RelaySet:
    """A ready set with slower or faster relays, another reservoir, another reset delay, other tape limits."""
    relays = load_set(draw(st.sampled_from(ready_sets())))

    def slowed(kind: RelayType, factor: float) -> RelayType:
        return replace(
            kind,
            operate_s=kind.operate_s.scaled(factor),
            release_s=kind.release_s.scaled(factor),
            released_h=kind.released_h * factor,
            operated_h=kind.operated_h * factor,
        )

    logic = slowed(relays.logic, draw(st.floats(0.8, 2.0)))
    return replace(
        relays,
        clock=slowed(relays.clock, draw(st.floats(0.8, 1.5))),
        logic=logic,
        latch=slowed(logic, draw(st.floats(0.8, 1.5))),
        front_end=replace(relays.front_end, reservoir_f=relays.front_end.reservoir_f * draw(st.floats(0.2, 2.0))),
        reset_share=draw(st.floats(0.35, 0.6)),
        tape=replace(relays.tape, speed=draw(st.floats(0.0, 0.06)), skew_s=draw(st.floats(0.0, 1e-3))),
        coldest_c=draw(st.floats(-10.0, 20.0)),
        hottest_c=draw(st.floats(20.0, 70.0)),
        worn=draw(st.floats(0.0, 0.3)),
    )


@st.composite
def codes(draw: st.DrawFn, name: str, table: Table) -> KeyedLineCode:
    share, lead = draw(st.floats(0.3, 0.5)), draw(st.floats(2.0, 20.0))
    mark, order = draw(st.booleans()), draw(st.sampled_from(["msb", "lsb"]))
    track = draw(st.sampled_from(["left", "right"]))
    own = f"lead_ms={lead},clock_track={track}" if name == "clocked" else f"one_track={track}"
    return keyed(
        f"{name}:burst_share={share},extra_steps={table.steps - 8},"
        f"reset_mark={str(mark).lower()},bit_order={order},{own},{SHORT_LEADER}"
    )


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


def keeps_the_two_laws(code: KeyedLineCode, relays: RelaySet, table: Table, seed: int) -> None:
    """What timing calls safe never fails, and at 0.8 of its step some corner does.

    Machines that never close, and tones that do not suit the drawn reservoir, are not judged.
    """
    try:
        found = shortest_step(code, relays, table)
    except UsageError:
        found = None
    assume(found is not None)
    assert found is not None
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
    assert any(not corner_loads(tight, number, faster, relays, table) for number in failing[:8]), tight.limiting
