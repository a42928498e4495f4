"""``tapewright timing``: the shortest step at which a relay machine closes, what limits it, and every margin."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from .completion import codecs, relay_sets, relay_tables


def timing(
    codec: Annotated[
        str, typer.Option(metavar="SPEC", help="Spec or preset of a keyed code.", autocompletion=codecs)
    ] = "plain-clocked",
    table: Annotated[
        str,
        typer.Option(
            metavar="T.toml",
            help="Which line is held in which steps: a ready table, or a path.",
            autocompletion=relay_tables,
        ),
    ] = "clock_tower",
    relays: Annotated[
        str,
        typer.Option(
            "--set",
            metavar="S.toml",
            help="Relays and electronics: a ready set, or a path.",
            autocompletion=relay_sets,
        ),
    ] = "signal_12v",
    plot: Annotated[
        Path | None, typer.Option(metavar="FILE.png", help="Also draw lines against steps into a PNG or SVG file.")
    ] = None,
    force: Annotated[bool, typer.Option("--force", help="Overwrite the picture if it exists.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print the timing as JSON instead of text.")] = False,
) -> None:
    """Say whether a relay machine keeps up with a format.

    And by how much, and what limits it. Works every path out in its worst corner: relays at the limits of their data
    sheet, cold and hot windings, supply low and high, tape slow and fast, tracks early and late. No tape is simulated.

    Exits with 3 if the format's step does not close or the table has hazards: a use without its settle step, two
    drivers on one bus, a sneak path, too few poles.

    Example: tapewright timing --codec clocked:step_ms=60 --table clock_tower --set signal_12v --plot timing.png
    """
    from ..contracts import registry
    from ..contracts.errors import TargetNotMet, UsageError
    from ..contracts.keying import KeyedLineCode
    from ..files.writing import check_output, whole_file
    from ..receivers.relays.plug_in import Relays
    from ..receivers.relays.timing_record import timing_record
    from ..reports.timing_text import lines, verdict
    from .progress import working

    machine = Relays(set=relays, table=table)
    stack = registry.codec(codec)
    reason = machine.refusal(stack)
    if reason is not None:
        raise UsageError(reason)
    assert isinstance(stack.line_code, KeyedLineCode)  # the receiver would have refused
    picture = None
    if plot is not None:
        from ..reports.frontier_picture import picture_format

        picture = picture_format(plot)
        check_output(plot, force)
    with working("working out every path"):
        hardware, wiring = machine.wiring(stack)
        record = {"codec_spec": stack.spec, **timing_record(stack.line_code, hardware, wiring)}
    if plot is not None and picture is not None:
        from ..receivers.relays.one_byte import one_byte
        from ..reports.timing_picture import save_timing

        with whole_file(plot, force) as part:
            save_timing(record, one_byte(stack.line_code, hardware, wiring), part, picture)
    if as_json:
        import json

        typer.echo(json.dumps(record, indent=2, allow_nan=False))
    else:
        for line in lines(record):
            typer.echo(line)
    if not record["closes"] or record["hazards"]:
        raise TargetNotMet(verdict(record))
