"""The progress line of a choice on stderr: what it is doing, and the time to go wherever the tapes are counted."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from ..benchmarks.verdict import Stage


@contextmanager
def watching_choice() -> Iterator[Callable[[Stage], None]]:
    """A watcher for ``benchmarks.choice.choose``; silent unless stderr is a terminal."""
    if not sys.stderr.isatty():
        yield lambda stage: None
        return
    from rich.console import Console
    from rich.live import Live
    from rich.text import Text

    from .progress import clock

    console = Console(file=sys.stderr, markup=False, highlight=False, emoji=False)
    with Live(console=console, transient=True, refresh_per_second=4) as line:

        def show(stage: Stage) -> None:
            told = stage.what
            if stage.news is not None:
                told += f": {stage.news.done} of {stage.news.of} tapes"
                if stage.news.remaining_s is not None:
                    told += f", {clock(stage.news.remaining_s)} to go"
            line.update(Text(told, no_wrap=True, overflow="ellipsis"))

        yield show
