"""The progress line on stderr: what runs, what was found so far and the time to go; only where stderr is a terminal."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from time import monotonic
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
                to_go="" if news.remaining_s is None else f"{clock(news.remaining_s)} to go",
                description=_found(news) or "first tapes",
            )

        yield show


PATIENCE_S = 1.0
"""What ends sooner than this is not worth a line."""


@contextmanager
def working(what: str) -> Iterator[Steps]:
    """A line that says what runs, for how long it has, and, as far as its steps tell, the time to go.

    Yields a watcher that is told how many steps of how many are done. The line comes after a second and goes with the
    block.
    """
    if not sys.stderr.isatty():
        yield Steps(is_seen=False)
        return
    from rich.console import Console
    from rich.live import Live
    from rich.text import Text

    steps = Steps()

    class Line:
        def __rich__(self) -> Text:
            elapsed_s = steps.elapsed_s()
            return Text(steps.line(what, elapsed_s) if elapsed_s >= PATIENCE_S else "", no_wrap=True)

    console = Console(file=sys.stderr, markup=False, highlight=False, emoji=False)
    with Live(Line(), console=console, transient=True, refresh_per_second=4):
        yield steps


LONG_TAPE_S = 300.0
"""Work on shorter tapes ends before a rehearsal would pay."""

_PART = 1 / 40
_COUNTED = 100
"""More steps than this are told as a share."""


class Steps:
    """How many steps of how many are done; how long the rest takes if it goes on like that.

    Args:
        is_seen: whether anybody is told.
    """

    def __init__(self, is_seen: bool = True) -> None:
        self._is_seen = is_seen
        self._done = self._of = 0
        self._begun = monotonic()
        self._ends_s: float | None = None

    def elapsed_s(self) -> float:
        """Since it began."""
        return monotonic() - self._begun

    def __call__(self, done: int, of: int) -> None:
        """So many of so many."""
        self._done, self._of = done, of

    def rehearse(self, tape_s: float, work: Callable[[float], object]) -> None:
        """Do a small part of a work that tells no steps, to know how long all of it will take; nothing if nobody looks.

        Args:
            tape_s: length of the tape that it is about; the time that it takes grows with it.
            work: does so large a share of it, and has no effect.
        """
        if not self._is_seen or tape_s < LONG_TAPE_S:
            return
        work(_PART / 10)  # what is loaded once is loaded now
        begun_s = self.elapsed_s()
        work(_PART)
        now_s = self.elapsed_s()
        self._ends_s = now_s + (now_s - begun_s) / _PART

    def line(self, what: str, elapsed_s: float) -> str:
        """What a person is told after ``elapsed_s``."""
        told = f"{what}: {clock(elapsed_s)}"
        if self._of:
            share = f"{100 * self._done // self._of} %" if self._of > _COUNTED else f"{self._done} of {self._of}"
            to_go_s = elapsed_s * (self._of - self._done) / self._done if 0 < self._done < self._of else 0.0
            return f"{told}, {share}, {clock(to_go_s)} to go" if to_go_s else f"{told}, {share}"
        if self._ends_s is not None and self._ends_s > elapsed_s:  # an expectation that was wrong is not told on
            return f"{told}, about {clock(self._ends_s - elapsed_s)} to go"
        return told


def _found(news: News) -> str:
    return "; ".join(
        f"{in_one_line(result.task.codec_name, 40)} over {in_one_line(result.task.channel_name, 40)}: "
        f"{result.tally.right} of {result.tally.trials} right"
        for result in news.found
    )


def clock(seconds: float) -> str:
    """So long, for a person."""
    whole = round(seconds)
    if whole < 60:
        return f"{whole} s"
    if whole < 3600:
        return f"{whole // 60} min {whole % 60:02d} s"
    return f"{whole // 3600} h {whole % 3600 // 60:02d} min"
