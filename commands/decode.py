"""``tapewright decode``: recordings become a program file again."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from .completion import codecs, receivers


def decode(
    recordings: Annotated[
        list[Path], typer.Argument(help="WAV or FLAC, mono or stereo; several are plays of one tape and are merged.")
    ],
    output: Annotated[
        Path | None,
        typer.Option("--output", "-o", help="Program to write: .hex, .s19, any other name for raw. Default: none."),
    ] = None,
    codec: Annotated[
        str | None,
        typer.Option(
            help="Spec or preset; 'auto' tries every preset. Default: what the recording's own label says.",
            autocompletion=codecs,
        ),
    ] = None,
    expect: Annotated[
        str | None, typer.Option(help="Program that should come out: says which bytes differ. Default: none.")
    ] = None,
    receiver: Annotated[
        str, typer.Option(help="Who listens; 'tapewright plugins' lists them.", autocompletion=receivers)
    ] = "sound",
    seed: Annotated[int, typer.Option(min=0, help="Which specimens, where the receiver is drawn at random.")] = 0,
    trial: Annotated[int, typer.Option(min=0, help="Which specimen of the seed, as 'compare' counts its trials.")] = 0,
    origin: Annotated[
        str | None,
        typer.Option(help="Address of the first byte for .hex and .s19, such as 0x1000. Default: the label's, else 0."),
    ] = None,
    plot: Annotated[
        Path | None,
        typer.Option(metavar="FILE.png", help="Also draw the first play: waveform with bits, sureness, levels."),
    ] = None,
    force: Annotated[bool, typer.Option("--force", help="Overwrite an existing file.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print the result as JSON.")] = False,
) -> None:
    """Decode a recording, or several plays of one tape together.

    What was heard and noticed goes to stderr. Exits with 3 if the program is known not to be right. What was heard is
    written even then: it is the best guess there is, and often a few bytes short of the whole.

    Example: tapewright decode worn.wav -o chime.bin --expect chime
    """
    import json

    from ..codecs.auto import AUTO, identify
    from ..contracts import registry
    from ..contracts.codec import FORMAT_VERSION
    from ..contracts.errors import TargetNotMet, UsageError, in_one_line
    from ..contracts.signal import Signal
    from ..contracts.streams import stream
    from ..files.label import common_label
    from ..files.programs import parse_address, read_program, write_program
    from ..files.recordings import read_recording
    from ..files.writing import check_output
    from ..measurement.capture_summary import summaries
    from ..reports.load import Load
    from .progress import working

    def say(line: str) -> None:
        typer.echo(line, err=True)

    if output is not None:
        for recording in recordings:
            check_output(output, force, recording)
    if plot is not None:
        from ..reports.frontier_picture import picture_format

        drawn_as = picture_format(plot)
        check_output(plot, force)
    first_address = None if origin is None else parse_address(origin)
    listener = registry.receiver(receiver)
    stack = None if codec in (None, AUTO) else registry.codec(codec)
    expected = None if expect is None else read_program(expect).data
    sources = []
    for recording in recordings:
        with working("reading") as watch:
            sources.append(read_recording(recording, watch))
    names = [in_one_line(recording) for recording in recordings]
    label = common_label([source.label for source in sources])
    for name, source in zip(names, sources, strict=True):
        for note in source.notes:
            say(f"note: {name}: {note}" if len(names) > 1 else f"note: {note}")
    if codec is None and label is None:
        raise UsageError(f"recording '{names[0]}' has no label that names its codec; --codec does, or --codec auto.")
    if label is not None and (stack is None or label.codec != stack.spec):
        say(f"note: the recording's label says: {in_one_line(label.codec, 2000)}")
    if label is not None and label.format_version > FORMAT_VERSION:
        say(f"warning: format version {label.format_version} is newer than {FORMAT_VERSION}, the newest known here")
    signals = tuple(source.signal for source in sources)
    if len({signal.sample_rate_hz for signal in signals}) > 1:
        say("note: the recordings have different sample rates; each is read at its own")

    if codec == AUTO:
        with working("trying the ready formats") as watch:
            fit, tried = identify(signals, listener, seed, trial, watch)
        for one in tried:
            say(f"tried {one}")
        if fit is None:
            if as_json:
                typer.echo(json.dumps({"codec": None, "tried": [one.to_json() for one in tried]}))
            raise TargetNotMet("no ready format fits this recording.")
        say(f"note: {tried[0].name} fits")
        stack, decoded = fit.codec, fit.decoded
    else:
        stack = stack or registry.codec(label.codec if label is not None else "")
        refusal = listener.refusal(stack)
        if refusal is not None:
            raise UsageError(f"receiver '{listener.name}' cannot decode this: {refusal}")
        for length in ([label.payload_bytes] if label is not None else []) + ([len(expected)] if expected else []):
            listener.check_load(stack, length)
        decoder = stack

        def begin(share: float) -> None:
            parts = (Signal(one.samples[:, : int(share * one.frames) + 1], one.sample_rate_hz) for one in signals)
            listener.receive(decoder, tuple(parts), stream(seed, trial, "receiver"))

        with working("decoding") as watch:
            watch.rehearse(max(signal.duration_s for signal in signals), begin)
            decoded = listener.receive(stack, signals, stream(seed, trial, "receiver"))

    heard = summaries(signals, decoded.plays)
    for number, (play, summary) in enumerate(heard, 1):
        say(f"play {number}: {play}; {summary}" if len(heard) > 1 else f"heard {play}; {summary}")
    load = Load(decoded, expected, None if label is None else label.fits(decoded.payload))
    for line in load.lines():
        say(line)
    is_worth_keeping = bool(decoded.payload) or decoded.intact is True
    if output is not None and is_worth_keeping:
        address = first_address if first_address is not None else 0 if label is None else label.origin
        write_program(output, decoded.payload, origin=address, force=force)
    written = None if output is None or not is_worth_keeping else in_one_line(output)
    if plot is not None:
        from ..benchmarks.shape import shape
        from ..files.writing import whole_file
        from ..reports.shape_picture import save_shape

        with working("drawing"), whole_file(plot, force) as part:
            drawing = shape(stack, listener, signals[0], stream(seed, trial, "receiver"), expected)
            save_shape(drawing, part, drawn_as)
    if as_json:
        plays = [
            {"file": name, **play.to_json(), **summary.to_json()}
            for name, (play, summary) in zip(names, heard, strict=False)
        ]
        record = {"codec": stack.spec, "receiver": listener.spec, **load.to_json(), "plays": plays, "file": written}
        typer.echo(json.dumps(record))
    if load.faults:
        kept = f"; the best guess, {len(decoded.payload)} bytes, is in {written}" if written else ""
        raise TargetNotMet(f"the program is not intact: {', '.join(load.faults)}{kept}.")
    if decoded.intact is None:
        say("warning: this format has no check of its own")
    place = f" in {written}" if written else ""
    say(f"{len(decoded.payload)} bytes{place}: {', '.join(load.vouchers) or 'nobody knows if they are right'}")
