"""Options that several commands have, each said once."""

from __future__ import annotations

from typing import Annotated

import typer

from .completion import engines

Workers = Annotated[
    int | None, typer.Option(metavar="N", help="Threads or processes; they never change a result. [default: all cores]")
]
Engine = Annotated[
    str,
    typer.Option(
        metavar="NAME",
        help="Who plays: threads, processes (faster on long runs), or dask for a cluster.",
        autocompletion=engines,
    ),
]
Scheduler = Annotated[
    str | None, typer.Option(metavar="tcp://HOST:PORT", help="The cluster's scheduler; trust it, it trusts you.")
]
RecordsAsJson = Annotated[bool, typer.Option("--json", help="Print the records as JSON instead of the table.")]
