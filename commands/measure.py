"""``tapewright measure``: a capture of the test recording becomes a profile of the deck and the tape."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def measure(
    capture: Annotated[Path, typer.Argument(help="What came back from the deck: WAV or FLAC.")],
    output: Annotated[
        Path | None, typer.Option("--output", "-o", help="Profile to write, such as profile.toml. Default: none.")
    ] = None,
    plot: Annotated[Path | None, typer.Option(help="Picture to write: .png or .svg. Default: none.")] = None,
    force: Annotated[bool, typer.Option("--force", help="Overwrite existing files.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print the profile as JSON instead of the table.")] = False,
) -> None:
    """Measure a deck and a tape from a capture of the test recording.

    'tapewright testtape' writes that recording. It is found at any level, polarity and order of the tracks, and at up
    to 10 % off speed. Figures come with 95 % intervals; what the capture does not give is listed with the reason. A
    capture without the test recording still gives its noise and, where it holds a steady tone, that tone's flutter and
    dropouts.

    A profile is a channel: 'tapewright compare --channel @profile.toml' plays formats through this deck.

    Exits with 3 if nothing at all could be measured; nothing is written then.

    Example: tapewright measure capture.wav -o profile.toml --plot deck.png
    """
    import json

    from ..contracts.errors import UsageError, in_one_line
    from ..files.recordings import read_recording
    from ..files.writing import check_output, whole_file
    from ..measurement.measuring import measure as measured
    from ..reports.measurement_text import lines
    from .progress import working

    if plot is not None and output is not None and plot.resolve() == output.resolve():
        raise UsageError(f"profile and picture cannot both be '{in_one_line(plot)}'; another name is needed.")
    if output is not None:
        check_output(output, force, capture)
    picture = None
    if plot is not None:
        from ..reports.frontier_picture import picture_format

        picture = picture_format(plot)
        check_output(plot, force, capture)
    with working("reading") as watch:
        source = read_recording(capture, watch)
    for note in source.notes:
        typer.echo(f"note: {note}", err=True)
    with working("measuring") as watch:
        found = measured(source.signal, capture.name, watch=watch)
    record = found.profile.to_json()
    for note in found.profile.notes:
        typer.echo(f"note: {in_one_line(note)}", err=True)
    if output is not None:
        with whole_file(output, force) as part:
            part.write_text(found.profile.to_toml(), encoding="utf-8")
    if plot is not None and picture is not None:
        from ..reports.measurement_picture import save_measurement

        with whole_file(plot, force) as part:
            save_measurement(record, found.traces.to_json(), part, picture)
    if as_json:
        typer.echo(json.dumps(record, indent=2, allow_nan=False))
    else:
        for line in lines(record):
            typer.echo(line)
