"""``tapewright degrade``: a recording goes through a simulated tape."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from .completion import channels


def degrade(
    recording: Annotated[Path, typer.Argument(help="WAV or FLAC.")],
    output: Annotated[Path, typer.Option("--output", "-o", help="Recording to write: .wav or .flac.")],
    channel: Annotated[
        str, typer.Option(help="Spec or grade; 'tapewright plugins' lists them.", autocompletion=channels)
    ] = "worn",
    seed: Annotated[int, typer.Option(min=0, help="Which tapes: the same seed gives the same audio.")] = 0,
    trial: Annotated[int, typer.Option(min=0, help="Which tape of the seed, as 'compare' counts its trials.")] = 0,
    bits: Annotated[str, typer.Option(help="Bits a sample: 8, 16, 24, 32 or float; FLAC: 8, 16 or 24.")] = "16",
    force: Annotated[bool, typer.Option("--force", help="Overwrite an existing file.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print what was done as JSON.")] = False,
) -> None:
    """Send a recording through a simulated tape; its label goes along.

    Example: tapewright degrade chime.wav -o worn.wav --channel worn --seed 1
    """
    import json
    from dataclasses import replace

    from ..contracts import registry
    from ..contracts.errors import in_one_line
    from ..contracts.streams import stream
    from ..files.recordings import check_recording, read_recording, write_recording
    from ..files.writing import check_output
    from .progress import working

    check_output(output, force)
    stack = registry.channel(channel)
    with working("reading") as watch:
        source = read_recording(recording, watch)
    check_recording(output, bits, source.signal.sample_rate_hz, source.signal.frames)
    with working("through the tape") as watch:
        heard = stack.degrade(source.signal, stream(seed, trial, "channel"), watch)
    tape = f"{in_one_line(channel)}, seed {seed}, trial {trial}"
    label = source.label
    if label is not None:
        label = replace(label, history=(*label.history, f"degraded by {tape}"))
    with working("writing") as watch:
        written = write_recording(output, heard, depth=bits, label=label, force=force, watch=watch)
    notes = (*source.notes, *written)
    for note in notes:
        typer.echo(f"note: {note}", err=True)
    if as_json:
        record = {"channel": stack.spec, "seed": seed, "trial": trial, "tape_s": heard.duration_s}
        typer.echo(json.dumps({**record, "file": str(output), "notes": notes}))
    else:
        typer.echo(f"{in_one_line(output)}: {heard.duration_s:.1f} s through {tape}", err=True)
