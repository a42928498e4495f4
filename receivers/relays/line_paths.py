"""Line paths: the margins of what the lines do after the bit steps, for one clock relay in one corner."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import pairwise

from .corner import Corner
from .edges import Edges
from .machine import Machine
from .margin import GUARD_S, Margin
from .table import Line, Table

CornerOf = Callable[..., Corner]


@dataclass(frozen=True, slots=True)
class Window:
    """One stay of a line's contact, at its earliest and latest.

    Attributes:
        first, last: clocks in which it begins and ends.
        touch_s: first touch, earliest. solid_s: end of bounce, latest.
        least_leave_s, most_leave_s: it opens.
        coil_s: how long its coil is on, at least.
    """

    first: int
    last: int
    touch_s: float
    solid_s: float
    least_leave_s: float
    most_leave_s: float
    coil_s: float


@dataclass(frozen=True, slots=True)
class Windows:
    """All stays of all lines about one clock relay's contacts."""

    clock: Edges
    at: dict[str, Machine]
    table: Table

    def of(self, line: Line) -> list[Window]:
        """The stays of one line, in the order of the tape."""
        return [window for run in self._runs(line) if (window := self._window(line, *run)) is not None]

    def _runs(self, line: Line) -> Iterator[tuple[int, int]]:
        """First and last clock of each stay: neighbouring steps are one stay of a line held over steps."""
        live = self.table.live_steps(line)
        count = self.clock.touch_s.size
        clocks = [n for n in range(count) if n % self.table.steps + 1 in live]
        if line.when == "clock":
            yield from ((n, n) for n in clocks)
            return
        start = previous = None
        for n in clocks:
            if previous is not None and n != previous + 1:
                yield start, previous  # type: ignore[misc]
                start = None
            start = n if start is None else start
            previous = n
        if previous is not None:
            yield start, previous  # type: ignore[misc]

    def _window(self, line: Line, first: int, last: int) -> Window | None:
        clock, at = self.clock, self.at
        if line.when == "clock":
            on_min, on_max = float(clock.touch_s[first]), float(clock.solid_s[first])
            off_min = off_max = float(clock.leave_s[first])
        else:
            if last + 1 >= clock.touch_s.size:
                return None
            step, after = first % self.table.steps, (last + 1) % self.table.steps
            held = last % self.table.steps
            on_min = float(clock.touch_s[first]) + at["fast"].steps[step].operate_s
            on_max = float(clock.solid_s[first]) + at["slow"].steps[step].operate_s + at["slow"].steps[step].bounce_s
            armed = float(clock.gone_s[last + 1])
            off_min = armed + at["fast"].arms[after].operate_s + at["fast"].steps[held].leave_s
            off_max = armed + at["slow"].arms[after].operate_s + at["slow"].steps[held].leave_s
        for name in line.through:
            covering = self._covering(self.table.line(name), first, last)
            if covering is None:
                return None
            on_min, on_max = max(on_min, covering.touch_s), max(on_max, covering.solid_s)
            off_min, off_max = min(off_min, covering.least_leave_s), min(off_max, covering.most_leave_s)
        slow, fast = at["slow"].lines[line.name], at["fast"].lines[line.name]
        return Window(
            first,
            last,
            on_min + fast.operate_s,
            on_max + slow.operate_s + slow.bounce_s,
            off_min + fast.leave_s,
            off_max + slow.leave_s,
            off_min - on_max,
        )

    def _covering(self, line: Line, first: int, last: int) -> Window | None:
        return next((window for window in self.of(line) if window.first <= first and last <= window.last), None)


def line_margins(clock: Edges, at: dict[str, Machine], table: Table, corner: CornerOf) -> Iterator[Margin]:
    """The margins of every line, in one corner.

    Args:
        clock: contacts of the clock relay, or of its repeater.
        at: all relays of each kind.
        corner: makes the corner of given roles' kinds.
    """
    windows = Windows(clock, at, table)
    stays = {line.name: windows.of(line) for line in table.lines}
    for line in table.lines:
        yield from _own(line, stays[line.name], at, corner)
    yield from _uses(stays, table, corner)
    yield from _memory(stays, at, table, clock, corner)
    yield from _drivers(stays, table, corner)


def _own(line: Line, stays: list[Window], at: dict[str, Machine], corner: CornerOf) -> Iterator[Margin]:
    """Time to come in, and to let go between two pulses."""
    relay = at["slow"].lines[line.name]
    for stay in stays:
        hindered = corner(("step", "slow"), ("arm", "fast"), (line.name, "slow"))
        yield Margin("line", f"'{line.name}'", relay.operate_s, stay.coil_s - GUARD_S, hindered)
    if line.when == "clock":
        for one, next_one in pairwise(stays):
            gap = next_one.touch_s - at["fast"].lines[line.name].operate_s - one.most_leave_s
            yield Margin("line", f"'{line.name}' twice", 0.0, gap - GUARD_S, corner((line.name, "slow")))


def _uses(stays: dict[str, list[Window]], table: Table, corner: CornerOf) -> Iterator[Margin]:
    """Steady before the use, and until it has ended."""
    for line in table.lines:
        for name in line.uses:
            where = f"'{line.name}' uses '{name}'"
            for stay in stays[line.name]:
                covering = [used for used in stays[name] if used.first <= stay.first and stay.last <= used.last]
                late = corner(("step", "slow"), (name, "slow"), (line.name, "fast"))
                if covering:
                    have = stay.touch_s - covering[0].solid_s - GUARD_S
                    yield Margin("settle", where, 0.0, have, late)
                    have = covering[0].least_leave_s - stay.most_leave_s - GUARD_S
                    early = corner(("step", "fast"), ("arm", "fast"), (name, "fast"), (line.name, "slow"))
                    yield Margin("hold", where, 0.0, have, early)
                elif not _cut_off(stay, stays[name]):
                    yield Margin("settle", where, 0.0, -float("inf"), late)


def _cut_off(stay: Window, used: list[Window]) -> bool:
    """Whether the pattern ends before the stay of the used line can be told."""
    return not used or stay.first > used[-1].last


def _memory(
    stays: dict[str, list[Window]],
    at: dict[str, Machine],
    table: Table,
    clock: Edges,
    corner: CornerOf,
) -> Iterator[Margin]:
    """Write, count and clear for long enough, and not into each other."""
    writing, counting, clearing = (table.acting(action)[0] for action in ("write", "count", "clear"))
    latches = at["slow"].latches
    slowest_fall = max(latch.release_s for latch in latches)
    quickest_fall = max(latch.release_s for latch in at["fast"].latches)
    carry = at["slow"].counter.operate_s * table.address_bits
    needs = (
        ("write", writing, at["slow"].cell.operate_s, 0.0),
        ("count", counting, at["slow"].counter.operate_s, at["short"].lines[counting.name].bounce_s),
        ("clear", clearing, slowest_fall, 0.0),
    )
    for path, line, need, bounce in needs:
        relay = at["short"].lines[line.name]
        roles = {"write": "memory cell", "count": "counter", "clear": "bit"}
        for stay in stays[line.name]:
            have = stay.coil_s - relay.operate_s - bounce + relay.leave_s - GUARD_S
            hindered = corner((line.name, "short"), (roles[path], "slow"), ("step", "slow"), ("arm", "fast"))
            yield Margin(path, f"'{line.name}'", need, have, hindered)
    yield _counted_once(counting, at, clock, corner)
    for stay in stays[writing.name]:
        before = [count for count in stays[counting.name] if count.first < stay.first]
        if before:
            hindered = corner((counting.name, "slow"), ("counter", "slow"), (writing.name, "fast"))
            have = stay.touch_s - before[-1].solid_s - GUARD_S
            yield Margin("settle", f"'{writing.name}' after '{counting.name}'", carry, have, hindered)
        after = [count for count in stays[counting.name] if count.first >= stay.first]
        if after:
            hindered = corner((writing.name, "slow"), (counting.name, "fast"))
            have = after[0].touch_s - stay.most_leave_s - GUARD_S
            yield Margin("hold", f"'{writing.name}' before '{counting.name}'", 0.0, have, hindered)
    if table.overlapped:
        yield from _bank(stays, at, table, clock, corner)
        shown, fall = table.acting("release")[0], max(latch.release_s for latch in at["fast"].bank)
    else:
        shown, fall = clearing, quickest_fall
    yield from _before_the_fall(stays, (writing, shown), fall, "bank" if table.overlapped else "bit", corner)
    first_bit = table.bit_steps[0] - 1
    for stay in stays[clearing.name]:
        later = [n for n in range(stay.first, clock.touch_s.size) if n % table.steps == first_bit]
        if later:
            have = float(clock.touch_s[later[0]]) - stay.most_leave_s - GUARD_S
            yield Margin("clear", f"'{clearing.name}' before bit 1", 0.0, have, corner((clearing.name, "slow")))


def _before_the_fall(
    stays: dict[str, list[Window]], lines: tuple[Line, Line], fall_s: float, latches: str, corner: CornerOf
) -> Iterator[Margin]:
    """The first line has done before the latches that the second opens can have fallen."""
    acting, opening = lines
    for stay in stays[acting.name]:
        opened = [later for later in stays[opening.name] if later.first >= stay.first]
        if opened:
            hindered = corner((acting.name, "slow"), (opening.name, "fast"), (latches, "fast"))
            have = opened[0].touch_s + fall_s - stay.most_leave_s - GUARD_S
            yield Margin("hold", f"'{acting.name}' before '{opening.name}'", 0.0, have, hindered)


def _bank(
    stays: dict[str, list[Window]], at: dict[str, Machine], table: Table, clock: Edges, corner: CornerOf
) -> Iterator[Margin]:
    """The second bank released, then copied to from latches at rest, and at rest itself before it is written."""
    writing, clearing = table.acting("write")[0], table.acting("clear")[0]
    copying, releasing = table.acting("copy")[0], table.acting("release")[0]
    slow, fast = at["slow"], at["fast"]
    comes_in = max(latch.operate_s for latch in slow.bank)
    relay = at["short"].lines[copying.name]
    for stay in stays[copying.name]:
        have = stay.coil_s - relay.operate_s - relay.bounce_s + relay.leave_s - GUARD_S
        hindered = corner((copying.name, "short"), ("bank", "slow"), ("step", "slow"), ("arm", "fast"))
        yield Margin("copy", f"'{copying.name}'", comes_in, have, hindered)
        heard = [n for n in range(stay.first) if n % table.steps + 1 == table.bit_steps[-1]]
        if heard:
            have = stay.touch_s - float(clock.leave_s[heard[-1]]) - GUARD_S
            bounce = max(latch.bounce_s for latch in slow.latches)
            yield Margin("settle", f"'{copying.name}' after the last bit", bounce, have, corner((copying.name, "fast")))
    relay = at["short"].lines[releasing.name]
    for stay in stays[releasing.name]:
        have = stay.coil_s - relay.operate_s + relay.leave_s - GUARD_S
        hindered = corner((releasing.name, "short"), ("bank", "slow"), ("step", "slow"), ("arm", "fast"))
        yield Margin("clear", f"'{releasing.name}'", max(latch.release_s for latch in slow.bank), have, hindered)
        copied = [copy for copy in stays[copying.name] if copy.first >= stay.first]
        if copied:
            have = copied[0].touch_s - stay.most_leave_s - GUARD_S
            hindered = corner((releasing.name, "slow"), (copying.name, "fast"))
            yield Margin("clear", f"'{releasing.name}' before '{copying.name}'", 0.0, have, hindered)
    yield from _before_the_fall(
        stays, (copying, clearing), max(latch.release_s for latch in fast.latches), "bit", corner
    )
    for stay in stays[writing.name]:
        copied = [copy for copy in stays[copying.name] if copy.first < stay.first]
        if copied:
            have = stay.touch_s - copied[-1].solid_s - GUARD_S
            hindered = corner((copying.name, "slow"), ("bank", "slow"), (writing.name, "fast"))
            need = comes_in + max(latch.bounce_s for latch in slow.bank)
            yield Margin("settle", f"'{writing.name}' after '{copying.name}'", need, have, hindered)


def _counted_once(counting: Line, at: dict[str, Machine], clock: Edges, corner: CornerOf) -> Margin:
    """A bounce of the clock contact is ridden through, or too short to count by itself."""
    slow, fast = at["slow"].lines[counting.name], at["fast"].lines[counting.name]
    bouncing = float((clock.solid_s - clock.touch_s).max())
    alone = fast.operate_s + fast.bounce_s + at["fast"].counter.operate_s - slow.leave_s
    hindered = corner((counting.name, "fast"), ("counter", "fast"))
    return Margin("bounce", f"'{counting.name}'", bouncing, max(fast.leave_s, alone), hindered)


def _drivers(stays: dict[str, list[Window]], table: Table, corner: CornerOf) -> Iterator[Margin]:
    """One driver off a bus before the next is on."""
    driving = [line for line in table.lines if line.action == "drive"]
    for one in driving:
        for other in driving:
            if one is other or one.bus != other.bus:
                continue
            for stay in stays[one.name]:
                following = [next_one for next_one in stays[other.name] if next_one.first >= stay.first]
                if following:
                    hindered = corner((one.name, "slow"), ("arm", "slow"), (other.name, "fast"))
                    have = following[0].touch_s - stay.most_leave_s - GUARD_S
                    where = f"'{one.name}' then '{other.name}' on the {one.bus} bus"
                    yield Margin("handover", where, 0.0, have, hindered)
