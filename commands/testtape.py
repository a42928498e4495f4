"""``tapewright testtape``: the recording with which a deck and a tape are measured."""

# ruff: noqa: PT028 -- the command's name begins like a test's

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def testtape(
    output: Annotated[Path, typer.Option("--output", "-o", help="Recording to write: .wav or .flac.")],
    sample_rate_hz: Annotated[int, typer.Option(help="Frames a second, at least 32000.")] = 44_100,
    bits: Annotated[str, typer.Option(help="Bits a sample: 16, 24, 32 or float; FLAC: 16 or 24.")] = "16",
    force: Annotated[bool, typer.Option("--force", help="Overwrite an existing file.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print the sections as JSON.")] = False,
) -> None:
    """Write the test recording with which a deck is measured.

    Tones, sweeps, silence, pulses and timing marks on two tracks. Record it on the tape at the level that programs
    will have: set the recording level once with the line-up tone at its start, then leave it. Play it back into a file
    and hand that to 'tapewright measure'.

    Example: tapewright testtape -o test.wav
    """
    import json
    from dataclasses import asdict

    from ..contracts.errors import in_one_line
    from ..files.recordings import check_recording, write_recording
    from ..files.writing import check_output
    from ..measurement.layout import DURATION_S, LAYOUT, LAYOUT_VERSION, LayoutLabel, whole_recording
    from .progress import working

    check_output(output, force)
    check_recording(output, bits, sample_rate_hz, round(DURATION_S * sample_rate_hz))
    with working("making it"):
        signal = whole_recording(sample_rate_hz)
    with working("writing") as watch:
        notes = write_recording(output, signal, depth=bits, label=LayoutLabel(), force=force, watch=watch)
    for note in notes:
        typer.echo(f"note: {note}", err=True)
    if as_json:
        record = {"layout_version": LAYOUT_VERSION, "length_s": DURATION_S, "sample_rate_hz": sample_rate_hz}
        typer.echo(json.dumps({**record, "file": str(output), "sections": [asdict(section) for section in LAYOUT]}))
    else:
        minutes, seconds = divmod(round(DURATION_S), 60)
        typer.echo(f"{in_one_line(output)}: {minutes} min {seconds} s, layout version {LAYOUT_VERSION}", err=True)
