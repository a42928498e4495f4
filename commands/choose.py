"""``tapewright choose``: the format to put on the tape, within limits, and why."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from .completion import channels, relay_sets, relay_tables


def choose(
    program: Annotated[
        str | None, typer.Option(metavar="FILE", help="Program file. [default: the demo program 'chime']")
    ] = None,
    payload_bytes: Annotated[
        int | None, typer.Option("--bytes", metavar="N", help="An invented program of that size instead.")
    ] = None,
    channel: Annotated[
        str | None,
        typer.Option(
            metavar="SPEC", help="Deck and tape: a grade, or @profile.toml. [default: worn]", autocompletion=channels
        ),
    ] = None,
    decoder: Annotated[
        str | None, typer.Option(metavar="WHO", help="relays, microcontroller or computer. [default: computer]")
    ] = None,
    relay_set: Annotated[
        str | None,
        typer.Option(
            "--set",
            metavar="S.toml",
            help="Relays of a relay decoder. [default: signal_12v]",
            autocompletion=relay_sets,
        ),
    ] = None,
    table: Annotated[
        str | None,
        typer.Option(
            metavar="T.toml", help="Wiring of a relay decoder. [default: clock_tower]", autocompletion=relay_tables
        ),
    ] = None,
    same_deck: Annotated[
        bool | None, typer.Option("--same-deck", help="The deck that records also replays.", show_default=False)
    ] = None,
    relays_at_most: Annotated[int | None, typer.Option(metavar="N", help="Relays to be bought.")] = None,
    load_time_at_most_s: Annotated[
        float | None, typer.Option("--load-time-at-most", metavar="S", help="Seconds of the whole recording.")
    ] = None,
    success_at_least: Annotated[
        float | None, typer.Option(metavar="P", help="Share of loads that come out right. [default: 0.99]")
    ] = None,
    silent_at_most: Annotated[
        float | None, typer.Option(metavar="P", help="Chance of a wrong load that nothing tells of.")
    ] = None,
    side: Annotated[
        str | None, typer.Option(metavar="C60", help="Cassette whose side must hold it: C46, C60, C90, C120.")
    ] = None,
    limits_file: Annotated[
        Path | None, typer.Option("--limits", metavar="FILE.toml", help="Limits from a file; options win over it.")
    ] = None,
    tapes: Annotated[
        int | None, typer.Option(metavar="N", help="Most tapes of one final: more are surer and slower. [default: 473]")
    ] = None,
    seed: Annotated[int | None, typer.Option(metavar="N", help="Same seed, same answer. [default: 1]")] = None,
    workers: Annotated[
        int | None, typer.Option(metavar="N", help="Threads; they never change a result. [default: all cores]")
    ] = None,
    then: Annotated[
        Path | None, typer.Option(metavar="FOLDER", help="Also write recording, label, tables or sheet, study, report.")
    ] = None,
    force: Annotated[bool, typer.Option("--force", help="Overwrite files in that folder.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print the answer as JSON instead of the table.")] = False,
) -> None:
    """Choose a tape format within your limits, and say why.

    Searches all installed codecs, lets them race on simulated tapes, and plays the recommended format and two
    runners-up again on fresh tapes, from which all figures come. Exits with 3 if nothing meets the limits.

    Example: tapewright choose --decoder microcontroller --channel portable-played --load-time-at-most 10
    """
    import sys

    from ..benchmarks.choice import choose as chosen
    from ..benchmarks.choice_record import as_json as record
    from ..benchmarks.choice_record import sentences
    from ..benchmarks.final import MOST_TAPES
    from ..benchmarks.limits import limits
    from ..benchmarks.limits_file import limits_in
    from ..benchmarks.payload import payload
    from ..benchmarks.study import DEFAULT_SEED
    from ..contracts.errors import TargetNotMet, in_one_line
    from .choice_progress import watching_choice
    from .choice_table import print_choice

    told = {} if limits_file is None else limits_in(limits_file)
    given = {
        "channel": channel,
        "decoder": decoder,
        "relay_set": relay_set,
        "table": table,
        "same_deck": same_deck,
        "relays_at_most": relays_at_most,
        "load_time_at_most_s": load_time_at_most_s,
        "success_at_least": success_at_least,
        "silent_at_most": silent_at_most,
        "side": side,
    }
    asked = limits({**told, **{name: value for name, value in given.items() if value is not None}})
    source = payload(program, payload_bytes)
    for note in source.notes:
        print(f"{in_one_line(source.name)}: {note}", file=sys.stderr)
    if then is not None:
        from .choice_folder import check_next

        check_next(then, asked, force)
    with watching_choice() as watch:
        answer = chosen(
            source.data,
            source.name,
            asked,
            budget=MOST_TAPES if tapes is None else tapes,
            seed=DEFAULT_SEED if seed is None else seed,
            workers=workers,
            watch=watch,
        )
    if as_json:
        import json

        print(json.dumps(record(answer), indent=2, allow_nan=False))
    else:
        print_choice(answer)
    if not answer.shown:
        raise TargetNotMet(next(iter(sentences(answer))))
    if then is not None:
        from .choice_folder import write_next

        write_next(answer, source, then, force)
