"""``tapewright encode``: a program file becomes a recording to put on a tape."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from .completion import codecs


def encode(
    program: Annotated[
        str, typer.Argument(help="Raw binary, Intel HEX or Motorola S-record; 'chime' is the demo program.")
    ],
    output: Annotated[Path, typer.Option("--output", "-o", help="Recording to write: .wav or .flac.")],
    codec: Annotated[
        str, typer.Option(help="Spec or preset; 'tapewright plugins' lists them.", autocompletion=codecs)
    ] = "sturdy",
    sample_rate_hz: Annotated[int, typer.Option(help="Frames a second, 1000 to 768000.")] = 44_100,
    bits: Annotated[str, typer.Option(help="Bits a sample: 8, 16, 24, 32 or float; FLAC: 8, 16 or 24.")] = "16",
    force: Annotated[bool, typer.Option("--force", help="Overwrite an existing file.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print the label as JSON.")] = False,
) -> None:
    """Encode a program as a recording, and print its label.

    Example: tapewright encode chime -o chime.wav --codec sturdy
    """
    import json

    from ..contracts import registry
    from ..contracts.codec import FORMAT_VERSION
    from ..files.label import Label, cassette_note
    from ..files.programs import read_program
    from ..files.recordings import check_recording, write_recording
    from ..files.writing import check_output
    from .progress import working

    check_output(output, force)
    stack = registry.codec(codec)
    source = read_program(program)
    tape_s = stack.duration_s(len(source.data))
    check_recording(output, bits, sample_rate_hz, round(tape_s * sample_rate_hz))
    label = Label.of(source.name, source.data, stack.spec, FORMAT_VERSION, source.origin)
    with working("recording") as watch:
        size = len(source.data)
        watch.rehearse(tape_s, lambda share: stack.encode(source.data[: int(share * size) + 1], sample_rate_hz))
        signal = stack.encode(source.data, sample_rate_hz)
    with working("writing") as watch:
        notes = write_recording(output, signal, depth=bits, label=label, force=force, watch=watch)
    length = cassette_note(tape_s)
    for note in (*source.notes, *((length,) if length else ()), *notes):
        typer.echo(f"note: {note}", err=True)
    bears_ms = stack.guaranteed_burst_ms(len(source.data))
    if as_json:
        record = {**label.to_json(), "tape_s": tape_s, "guaranteed_burst_ms": bears_ms}
        typer.echo(json.dumps({**record, "sample_rate_hz": sample_rate_hz, "file": str(output)}))
    else:
        typer.echo(label.to_text(tape_s, codec, bears_ms))
