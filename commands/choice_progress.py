"""The progress line of a choice on stderr: what it is doing, and about how long all of it will still take."""

from __future__ import annotations

import math
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from ..benchmarks.verdict import Stage


def roughly(seconds: float) -> str:
    """About so long: no more is known of a search.

    >>> roughly(34), roughly(100), roughly(4000)
    ('about 40 s', 'about 2 min', 'about 67 min')
    """
    if seconds <= 60:
        return f"about {10 * math.ceil(seconds / 10)} s"
    return f"about {round(seconds / 60)} min"


@contextmanager
def watching_choice() -> Iterator[Callable[[Stage], None]]:
    """A watcher for ``benchmarks.choice.choose``; silent unless stderr is a terminal."""
    if not sys.stderr.isatty():
        yield lambda stage: None
        return
    from rich.console import Console
    from rich.live import Live
    from rich.text import Text

    console = Console(file=sys.stderr, markup=False, highlight=False, emoji=False)
    with Live(console=console, transient=True, refresh_per_second=4) as line:

        def show(stage: Stage) -> None:
            told = stage.what
            if stage.remaining_s is not None:
                told = f"{roughly(stage.remaining_s)} to go; {told}"
            if stage.news is not None:
                told += f": {stage.news.done} of {stage.news.of} tapes"
            line.update(Text(told, no_wrap=True, overflow="ellipsis"))

        yield show
