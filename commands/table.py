"""Tables for people: plain columns that respect pipes, narrow terminals and NO_COLOR.

In a pipe a table has its full width; in a terminal too narrow for it, intervals move below their figures, then the
share of capacity goes, and at last each row is a list.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from ..contracts.errors import in_one_line
from ..contracts.relay_cost import obstacle, relay_cost
from ..contracts.spec import format_value

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table

    from ..benchmarks.records import Record
    from ..benchmarks.statistics import Estimate
    from ..benchmarks.stored_study import Standing

_PIPE_WIDTH = 100_000
_LONGEST_NAME = 200
_CUT = "\u2026"
"""What stands where words were cut short."""


def console() -> Console:
    """The console on stdout; in a pipe it neither wraps nor colours."""
    from rich.console import Console

    width = None if sys.stdout.isatty() else _PIPE_WIDTH
    return Console(file=sys.stdout, width=width, markup=False, highlight=False, emoji=False)


def print_answer(rows: Sequence[Record], sentences: Sequence[str]) -> None:
    """The rows of a comparison, then what they prove."""
    screen = console()
    table = _answer(rows, _in_one_line, with_share=True)
    for with_share in (True, False):
        if table.__rich_measure__(screen, screen.options).maximum > screen.width:
            table = _answer(rows, _in_two_lines, with_share)
    # A list has room for all of it.
    is_cut = _is_cut(_drawn(screen, table), table)
    print_table(screen, _answer(rows, _in_one_line, with_share=True) if is_cut else table)
    print()
    refusals = {
        f"{_name(row.task.receiver_name)} cannot load {_name(row.task.codec_name)}: {row.task.refusal}": None
        for row in rows
        if row.task.refusal is not None
    }
    for sentence in (*_needed(rows), *_built(rows), *refusals, *sentences):
        screen.print(in_one_line(sentence, _PIPE_WIDTH), soft_wrap=False)


def _needed(rows: Sequence[Record]) -> list[str]:
    """What each codec needs to be decoded, beside the address counter, lines and memory of any loader."""
    told = {}
    for row in rows:
        codec, name = row.task.codec, _name(row.task.codec_name)
        cost = relay_cost(codec)
        if cost is not None:
            told[name] = f"To decode {name} takes {cost.in_words()}."
        elif codec.needs != "relays":
            told[name] = f"To decode {name} takes a {codec.needs}."
        else:
            told[name] = f"To decode {name} takes a microcontroller: {obstacle(codec)}."
    return list(told.values())


def _built(rows: Sequence[Record]) -> list[str]:
    """What a receiver that is built of relays needs in all for each codec, and how quickly it could load."""
    told: dict[str, None] = {}
    for row in rows:
        task = row.task
        count = None if task.refusal is not None else task.receiver.relay_count(task.codec)
        if count is None:
            continue
        machine = f"The whole machine that loads {_name(task.codec_name)} ({_name(task.receiver_name)})"
        quickest, payload_bytes = task.receiver.quickest(task.codec), len(row.study.program)
        pace = (
            "no pace of it is one that its contacts are sure to follow"
            if quickest is None
            else f"at the quickest pace that its contacts are sure to follow it loads "
            f"{payload_bytes / quickest.duration_s(payload_bytes):.2f} bytes/s"
        )
        told[f"{machine} has {count} relays; {pace}."] = None
    return list(told)


def print_standings(standings: Sequence[Standing]) -> None:
    """How far each row of a stored study is, and how far all are."""
    from rich.table import Table
    from rich.text import Text

    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="bold")
    for head in ("program", "seed", "codec", "receiver", "channel"):
        table.add_column(head, overflow="fold")
    table.add_column("done", justify="right")
    table.add_column("of", justify="right")
    table.add_column("right / detected / silent", justify="right")
    for standing in standings:
        task, tally = standing.row.task, standing.tally
        program = (standing.study.program_name, standing.study.seed)
        names = (*program, task.codec_name, task.receiver_name, task.channel_name)
        figures = (standing.done, standing.row.trials, f"{tally.right} / {tally.detected} / {tally.silent}")
        refused = ("refused", "", "")
        table.add_row(*(Text(_name(str(cell))) for cell in (*names, *(refused if task.refusal else figures))))
    print_table(console(), table)
    wanted = [standing for standing in standings if standing.row.task.refusal is None]
    done = sum(standing.done for standing in wanted)
    missing = sum(standing.missing for standing in wanted)
    print(f"\n{done} of {done + missing} trials are done.")
    more = sum(standing.tally.trials - standing.done for standing in wanted)
    if more:
        print(f"{more} beyond those asked for were counted together with them and are shown too.")


def print_catalogue(entries: Sequence[Mapping[str, Any]]) -> None:
    """Every entry of ``reports.catalogue``, its parameters below it."""
    from rich.table import Table
    from rich.text import Text

    table = Table(box=None, pad_edge=False, show_header=False, padding=(0, 2, 0, 0))
    table.add_column(overflow="fold")
    table.add_column(overflow="fold")
    for place, entry in enumerate(entries):
        if place:
            table.add_row()
        if place == 0 or entry["kind"] != entries[place - 1]["kind"]:
            table.add_row(Text(f"for --{entry['kind']}:", style="bold"))
            table.add_row()
        about = ", ".join(filter(None, (entry["role"], entry.get("needs"), entry.get("place"))))
        rows = [(entry["name"], f"{about}: {entry['summary'] or entry.get('error', '')}")]
        if "spec" in entry:
            rows.append(("", f"= {entry['spec'] or '(nothing)'}"))
        if int(entry.get("bears", {}).get("guaranteed_burst_ms", 0)):
            bears = entry["bears"]
            borne = f"bears a dropout of {int(bears['guaranteed_burst_ms'])} ms, wherever it falls"
            rows.append(("", f"{borne}, with {bears['payload_bytes']} bytes"))
        if "relay_cost" in entry:
            cost = entry["relay_cost"]
            rows += [("", f"in relays: {cost['in_words']}")]
            rows += [("", f"{does} {what}") for does in ("catches", "misses") for what in cost[does]]
        rows += [
            (f"  {declared['name']}={format_value(declared['default'])}", f"{declared['range']}: {declared['help']}")
            for declared in entry.get("parameters", ())
        ]
        for row in rows:
            table.add_row(*(Text(in_one_line(cell, _PIPE_WIDTH)) for cell in row))
    print_table(console(), table)


def print_table(screen: Console, table: Table) -> None:
    """A table; where it has no room for a figure, each row below the other, a line a column."""
    drawn = _drawn(screen, table)
    if _is_cut(drawn, table):
        with screen.capture() as stacked:
            _stacked(screen, table)
        drawn = stacked.get()
    print("\n".join(line.rstrip() for line in drawn.splitlines()))


def _drawn(screen: Console, table: Table) -> str:
    with screen.capture() as drawn:
        screen.print(table)
    return drawn.get()


def _is_cut(drawn: str, table: Table) -> bool:
    """Whether words of it were cut short. Names are not: they go on below."""
    told = sum(str(cell).count(_CUT) for column in table.columns for cell in (column.header, *column.cells))
    return drawn.count(_CUT) > told


def _stacked(screen: Console, table: Table) -> None:
    heads = [" ".join(str(column.header).split()) for column in table.columns]
    rows = [
        [" ".join(str(cell).split()) for cell in row] for row in zip(*(one.cells for one in table.columns), strict=True)
    ]
    for place, row in enumerate(filter(any, rows)):
        if place:
            screen.print()
        for head, cell in zip(heads, row, strict=True):
            if cell:
                screen.print(f"{head}: {cell}" if head else cell, soft_wrap=False)


def _answer(rows: Sequence[Record], spread: Callable[[str, str], str], with_share: bool) -> Table:
    from rich.table import Table
    from rich.text import Text

    several_receivers = len({row.task.receiver_name for row in rows}) > 1
    table = Table(box=None, pad_edge=False, padding=(0, 1, 0, 0), header_style="bold")
    table.add_column("codec", overflow="fold")
    if several_receivers:
        table.add_column("receiver", overflow="fold")
    table.add_column("channel", overflow="fold")
    table.add_column("useful\nbytes/s", justify="right")
    if with_share:
        table.add_column("share of\ncapacity", justify="right")
    table.add_column("tape\ntime", justify="right")
    table.add_column("right /\ndetected /\nsilent", justify="right")
    table.add_column("load success,\n95 % interval")
    table.add_column("residual byte\nerror, 95 %\ninterval")
    table.add_column("")
    for place, row in enumerate(rows):
        if place and row.task.channel_name != rows[place - 1].task.channel_name:
            table.add_row()
        cells = [_name(row.task.codec_name)]
        if several_receivers:
            cells.append(_name(row.task.receiver_name))
        cells += [
            _name(row.task.channel_name),
            f"{row.useful_bytes_per_s:.1f}",
            *([_share(row.share_of_capacity)] if with_share else []),
            f"{row.tape_s:.1f} s",
            _outcomes(row),
            _success(row.load_success, spread),
            _byte_error(row.residual_byte_error_rate, spread),
            "*" if row.on_frontier else "",
        ]
        table.add_row(*(Text(cell) for cell in cells))
    return table


def _outcomes(row: Record) -> str:
    if row.task.refusal is not None:
        return "refused"
    tally = row.tally
    return f"{tally.right} / {tally.detected} / {tally.silent}" if tally.trials else "none yet"


def _share(share: float | None) -> str:
    return "-" if share is None else f"{100 * share:.2g} %"


def _success(estimate: Estimate | None, spread: Callable[[str, str], str]) -> str:
    if estimate is None:
        return "-"
    rate, low, high = (f"{100 * share:.1f}" for share in (estimate.rate, estimate.low, estimate.high))
    return spread(f"{rate:>5} %", f"{low:>4} to {high}")


def _byte_error(estimate: Estimate | None, spread: Callable[[str, str], str]) -> str:
    if estimate is None:
        return "-"
    if estimate.rate == 0:
        return f"<= {_scientific(estimate.high)}"
    return spread(_scientific(estimate.rate), f"{_scientific(estimate.low)} to {_scientific(estimate.high)}")


def _scientific(rate: float) -> str:
    """Two digits and a power of ten: 8.8e-2."""
    digits, power = f"{rate:.1e}".split("e")
    return f"{digits}e{int(power)}"


def _in_one_line(figure: str, interval: str) -> str:
    return f"{figure} ({interval})"


def _in_two_lines(figure: str, interval: str) -> str:
    return f"{figure}\n{interval}"


def _name(text: str) -> str:
    return in_one_line(text, _LONGEST_NAME)
