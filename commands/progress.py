"""The progress line on stderr: what runs, what was found so far and the time to go; only where stderr is a terminal."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from ..contracts.errors import in_one_line

if TYPE_CHECKING:
    from ..benchmarks.trials import News


@contextmanager
def watching() -> Iterator[Callable[[News], None]]:
    """A watcher for ``benchmarks.trials.run`` that shows the news for as long as the block lasts."""
    if not sys.stderr.isatty():
        yield lambda news: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn
    from rich.table import Column

    bar = Progress(
        BarColumn(bar_width=16),
        TextColumn("{task.fields[count]}", markup=False),
        TextColumn("{task.fields[to_go]}", markup=False),
        TextColumn("{task.description}", markup=False, table_column=Column(no_wrap=True, ratio=1)),
        console=Console(file=sys.stderr, markup=False, highlight=False, emoji=False),
        transient=True,
        expand=True,
    )
    with bar:
        line = bar.add_task("first tapes", total=None, count="", to_go="")

        def show(news: News) -> None:
            bar.update(
                line,
                total=news.of,
                completed=news.done,
                count=f"{news.done}/{news.of} tapes",
                to_go="" if news.remaining_s is None else f"{_clock(news.remaining_s)} to go",
                description=_found(news) or "first tapes",
            )

        yield show


def _found(news: News) -> str:
    return "; ".join(
        f"{in_one_line(result.task.codec_name, 40)} over {in_one_line(result.task.channel_name, 40)}: "
        f"{result.tally.right} of {result.tally.trials} right"
        for result in news.found
    )


def _clock(seconds: float) -> str:
    whole = round(seconds)
    if whole < 60:
        return f"{whole} s"
    if whole < 3600:
        return f"{whole // 60} min {whole % 60:02d} s"
    return f"{whole // 3600} h {whole % 3600 // 60:02d} min"
