"""``tapewright decode``: a recording becomes a program file again."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def decode(
    recording: Annotated[Path, typer.Argument(help="WAV or FLAC, mono or stereo.")],
    output: Annotated[
        Path | None,
        typer.Option("--output", "-o", help="Program to write: .hex, .s19, any other name for raw. Default: none."),
    ] = None,
    codec: Annotated[
        str | None, typer.Option(help="Spec or preset. Default: what the recording's own label says.")
    ] = None,
    expect: Annotated[
        str | None, typer.Option(help="Program that should come out: says which bytes differ. Default: none.")
    ] = None,
    receiver: Annotated[str, typer.Option(help="Who listens; 'tapewright plugins' lists them.")] = "sound",
    seed: Annotated[int, typer.Option(min=0, help="Which specimens, where the receiver is drawn at random.")] = 0,
    trial: Annotated[int, typer.Option(min=0, help="Which specimen of the seed, as 'compare' counts its trials.")] = 0,
    origin: Annotated[
        str | None,
        typer.Option(help="Address of the first byte for .hex and .s19, such as 0x1000. Default: the label's, else 0."),
    ] = None,
    force: Annotated[bool, typer.Option("--force", help="Overwrite an existing file.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print the result as JSON.")] = False,
) -> None:
    """Decode a recording; events with their tape times go to stderr.

    Exits with 3 if the program is known not to be right. What was heard is written even then: it is the best guess
    there is, and often a few bytes short of the whole.

    Example: tapewright decode worn.wav -o chime.bin --expect chime
    """
    import json

    from ..contracts import registry
    from ..contracts.codec import FORMAT_VERSION
    from ..contracts.errors import TargetNotMet, UsageError, in_one_line
    from ..contracts.streams import stream
    from ..files.programs import parse_address, read_program, write_program
    from ..files.recordings import read_recording
    from ..files.writing import check_output
    from ..reports.load import Load

    def say(line: str) -> None:
        typer.echo(line, err=True)

    if output is not None:
        check_output(output, force, recording)
    first_address = None if origin is None else parse_address(origin)
    listener = registry.receiver(receiver)
    stack = None if codec is None else registry.codec(codec)
    expected = None if expect is None else read_program(expect).data
    source = read_recording(recording)
    label = source.label
    for note in source.notes:
        say(f"note: {note}")
    if stack is None:
        if label is None:
            raise UsageError(f"recording '{in_one_line(recording)}' has no label that names its codec; --codec does.")
        say(f"note: the recording's label says: {in_one_line(label.codec, 2000)}")
        stack = registry.codec(label.codec)
    elif label is not None and label.codec != stack.spec:
        say(f"note: the recording's label says: {in_one_line(label.codec, 2000)}")
    if label is not None and label.format_version > FORMAT_VERSION:
        say(f"warning: format version {label.format_version} is newer than {FORMAT_VERSION}, the newest known here")
    refusal = listener.refusal(stack)
    if refusal is not None:
        raise UsageError(f"receiver '{listener.name}' cannot decode this: {refusal}")

    decoded = listener.receive(stack, (source.signal,), stream(seed, trial, "receiver"))
    load = Load(decoded, expected, None if label is None else label.fits(decoded.payload))
    for line in load.lines():
        say(line)
    is_worth_keeping = bool(decoded.payload) or decoded.intact is True
    if output is not None and is_worth_keeping:
        address = first_address if first_address is not None else 0 if label is None else label.origin
        write_program(output, decoded.payload, origin=address, force=force)
    written = None if output is None or not is_worth_keeping else in_one_line(output)
    if as_json:
        record = {"codec": stack.spec, "receiver": listener.spec, **load.to_json(), "file": written}
        typer.echo(json.dumps(record))
    if load.faults:
        kept = f"; the best guess, {len(decoded.payload)} bytes, is in {written}" if written else ""
        raise TargetNotMet(f"the program is not intact: {', '.join(load.faults)}{kept}.")
    if decoded.intact is None:
        say("warning: this format has no check of its own")
    place = f" in {written}" if written else ""
    say(f"{len(decoded.payload)} bytes{place}: {', '.join(load.vouchers) or 'nobody knows if they are right'}")
