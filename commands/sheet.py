"""``tapewright sheet``: the page from which a relay machine for a format can be built."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

SHEET = "sheet.html"


def sheet(
    codec: Annotated[str, typer.Option(metavar="SPEC", help="Spec or preset that relays can decode.")],
    receiver: Annotated[str, typer.Option(metavar="SPEC", help="The relay machine, such as relays:set=signal_12v.")],
    channel: Annotated[str, typer.Option(metavar="SPEC", help="What the tape goes through, for the expected success.")],
    output: Annotated[Path, typer.Option("--output", "-o", metavar="FOLDER", help="Folder to write sheet.html into.")],
    program: Annotated[str, typer.Option(metavar="FILE", help="Program file, or the demo program.")] = "chime",
    trials: Annotated[int, typer.Option(metavar="N", help="Tapes that are played for the expected success.")] = 40,
    seed: Annotated[int, typer.Option(metavar="N", help="Same seed, same sheet.")] = 1,
    force: Annotated[bool, typer.Option("--force", help="Overwrite a sheet that exists.")] = False,
    as_json: Annotated[
        bool, typer.Option("--json", help="Print what the sheet shows as JSON instead of a summary.")
    ] = False,
) -> None:
    """Write the build sheet of a relay machine.

    One page that needs no network and prints well: tones, burst and step times with margins, the step table, a timing
    diagram to scale, parts, front-end values, the line-up procedure, the expected load time and success, and what to
    take care of.

    Exits with 3 if the format's step does not close or the table has hazards; the sheet is written and says so.

    Example: tapewright sheet --codec plain-clocked --receiver relays:set=signal_12v --channel played -o machine
    """
    import hashlib

    from .. import __version__
    from ..benchmarks.statistics import load_success
    from ..benchmarks.study import Study
    from ..benchmarks.trials import run
    from ..contracts.errors import TargetNotMet, UsageError, in_one_line
    from ..contracts.keying import KeyedLineCode
    from ..contracts.relay_cost import relay_cost
    from ..files.folder_writing import check_folder, whole_folder
    from ..files.programs import read_program
    from ..receivers.relays.build_record import build_record
    from ..receivers.relays.plug_in import Relays
    from ..reports.build_sheet import build_sheet
    from ..reports.build_work import success
    from ..reports.timing_text import verdict
    from .progress import watching

    check_folder(output, (SHEET,), force)
    source = read_program(program)
    for note in source.notes:
        typer.echo(f"note: {note}", err=True)
    study = Study(source.data, source.name, (codec,), (receiver,), (channel,), trials, seed)
    (task,) = study.tasks()
    if not isinstance(task.receiver, Relays):
        raise UsageError(f"sheet: receiver '{in_one_line(receiver, 60)}' is not a relay machine; 'relays' is.")
    if task.refusal is not None:
        raise UsageError(task.refusal)
    assert isinstance(task.codec.line_code, KeyedLineCode)  # the receiver would have refused
    memory_bytes = task.receiver.memory_bytes(task.codec, len(source.data))
    build = build_record(task.codec.line_code, *task.receiver.wiring(task.codec), memory_bytes)
    with watching() as watch:
        (played,) = run(study, watch=watch)
    cost = relay_cost(task.codec)
    assert cost is not None  # the receiver would have refused
    tape_s = task.codec.duration_s(len(source.data))
    estimate, tally = load_success(played.tally), played.tally
    load: dict[str, object] = {
        **estimate.as_json(),
        "trials": tally.trials,
        "right": tally.right,
        "detected": tally.detected,
        "silent": tally.silent,
        "useful_bytes_per_s": len(source.data) / tape_s,
    }
    record = {
        "codec": codec,
        "receiver": receiver,
        "channel": channel,
        "codec_spec": task.codec.spec,
        "receiver_spec": task.receiver.spec,
        "channel_spec": task.channel.spec,
        "program": source.name,
        "program_sha256": hashlib.sha256(source.data).hexdigest(),
        "payload_bytes": len(source.data),
        "tape_s": tape_s,
        "seed": seed,
        "version": f"tapewright {__version__}",
        "build": build,
        "checks": {"catches": list(cost.catches), "misses": list(cost.misses)},
        "load": load,
    }
    with whole_folder(output, (SHEET,), force) as folder:
        (folder / SHEET).write_text(build_sheet(record), encoding="utf-8", newline="\n")
    if as_json:
        import json

        typer.echo(json.dumps({**record, "sheet": str(output / SHEET)}, indent=2, allow_nan=False))
    else:
        timed = build["timing"]
        typer.echo(
            f"{source.name}: {build['parts']['relay_count']} relays, {tape_s:.1f} s a load, "
            f"{success(load)} load right over {in_one_line(channel, 60)}, in {output / SHEET}"
        )
        typer.echo(verdict(timed))
    if not build["timing"]["closes"] or build["timing"]["hazards"]:
        raise TargetNotMet(verdict(build["timing"]))
