"""``tapewright explain``: from what memory holds after a failed load, what happened and where."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from .completion import codecs


def explain(
    program: Annotated[str, typer.Option(help="What was recorded: a program file, or 'chime'.")],
    seen: Annotated[Path, typer.Option(help="What memory holds: a dump, raw or with addresses like a program.")],
    codec: Annotated[
        str | None,
        typer.Option(
            help="Spec or preset of the tape: tells when a byte plays. Default: not known.", autocompletion=codecs
        ),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the result as JSON.")] = False,
) -> None:
    """Say what went wrong in a load, from what memory holds.

    Clocks lost or counted twice, bytes missing, stuck bits and dead tracks are told apart. The likeliest story comes
    first, with how many bits agree under it. Exits with 3 if no story fits.

    Example: tapewright explain --program chime --seen memory.bin --codec plain-clocked
    """
    import json

    from ..contracts import registry
    from ..contracts.errors import TargetNotMet
    from ..files.programs import read_program
    from ..reports.failed_load import explain as explain_load
    from ..reports.happening import Placement
    from ..reports.tape_placement import placement
    from .progress import working

    wanted, memory = read_program(program), read_program(seen, "dump")
    for name, file in (("program", wanted), ("dump", memory)):
        for note in file.notes:
            typer.echo(f"note: {name}: {note}", err=True)
    place = Placement(wanted.origin) if codec is None else placement(registry.codec(codec), wanted.origin)
    with working("looking for a story"):
        told = explain_load(
            wanted.data, memory.data, place, memory.origin if memory.is_addressed else None, unread=memory.gaps
        )
    if as_json:
        typer.echo(json.dumps(told.to_json()))
    else:
        for line in told.lines():
            typer.echo(line)
    if not told.explained:
        raise TargetNotMet("no story of a load makes this memory of that program.")
