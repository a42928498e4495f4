"""The end of a report: how its figures came about, what they hang on, and how to repeat them."""

from __future__ import annotations

import shlex
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from .page_elements import breakable, shown
from .report_words import names


def method_section(record: Mapping[str, Any]) -> Iterator[str]:
    """The section."""
    rows, evidence = record["rows"], record["evidence"]
    yield "<section id='method'><h2>How this was made</h2>"
    yield "<h3>Method</h3><ul>"
    for sentence in _method(rows, evidence):
        yield f"<li>{sentence}</li>"
    yield "</ul><h3>To repeat it</h3>"
    for command in commands(rows):
        yield f'<pre class="command">{shown(command, 20_000)}</pre>'
    yield f"<p>This page: <code>{shown(record['made']['command'], 4000)}</code></p>"
    yield "<h3>What it was made from</h3>"
    facts: list[tuple[str, str]] = []
    for row in {row["program_sha256"]: row for row in rows}.values():
        facts.append(("program", f"{row['program']}, {row['payload_bytes']} bytes, SHA-256 {row['program_sha256']}"))
    facts.append(("sample rate", ", ".join(f"{rate} Hz" for rate in names(rows, "sample_rate_hz"))))
    facts += [
        (f"channel {row['channel']}", row["channel_spec"] or "nothing in the way") for row in _first(rows, "channel")
    ]
    facts += [(f"receiver {row['receiver']}", row["receiver_spec"]) for row in _first(rows, "receiver")]
    for told in dict.fromkeys(
        ", ".join(f"{name} {number}" for name, number in row["versions"].items()) for row in rows
    ):
        facts.append(("versions", told))
    for told in dict.fromkeys(", ".join(f"{name} {value}" for name, value in row["machine"].items()) for row in rows):
        facts.append(("machine", told))
    facts.append(("tapes played again by", record["made"]["version"]))
    cells = "".join(
        f'<tr><th scope="row">{shown(name, 200)}</th><td class="spec">{breakable(told)}</td></tr>'
        for name, told in facts
    )
    yield f'<div class="scrolls" tabindex="0"><table class="made">{cells}</table></div></section>'


def commands(rows: Sequence[Mapping[str, Any]]) -> list[str]:
    """What to type to get the rows again: one command where the rows are all of a comparison, else one a row.

    A row that was refused played no tape, whatever number was asked for, and a comparison refuses it again.
    """
    played = [row for row in rows if row["trials"]]
    alike = {(row["program"], row["program_sha256"], row["seed"], row["trials"]) for row in played}
    alike |= {(row["program"], row["program_sha256"], row["seed"], played[0]["trials"]) for row in rows if played}
    every = {(row["codec"], row["receiver"], row["channel"]) for row in rows}
    whole = [names(rows, key) for key in ("codec", "receiver", "channel")]
    if len(alike) == 1 and len(every) == len(rows) == len(whole[0]) * len(whole[1]) * len(whole[2]):
        return [_command(played[0], *whole)]
    return [_command(row, [row["codec"]], [row["receiver"]], [row["channel"]]) for row in played or rows]


def _command(row: Mapping[str, Any], codecs: Sequence[str], receivers: Sequence[str], channels: Sequence[str]) -> str:
    words = ["tapewright", "compare", "--program", row["program"]]
    for option, specs in (("--codec", codecs), ("--receiver", receivers), ("--channel", channels)):
        for spec in specs:
            words += [option, spec]
    words += ["--trials", str(_planned(row)), "--seed", str(row["seed"])]
    return " ".join(shlex.quote(word) for word in words)


def _planned(row: Mapping[str, Any]) -> int:
    return row["trials"] or 1


def _method(rows: Sequence[Mapping[str, Any]], evidence: Sequence[Mapping[str, Any]]) -> Iterator[str]:
    yield (
        "A tape is one whole recording of the program. It is sent through the channel and heard by the receiver; all "
        "formats meet the same tapes. <b>Right</b>: the program came back. <b>Detected</b>: it did not, and the format "
        "says so. <b>Silent</b>: it did not, and nothing says so."
    )
    yield (
        "Useful bytes per second: payload over the length of the whole recording, leader and all, not multiplied by "
        "success."
    )
    methods = dict.fromkeys(
        row[key]["method"] for row in rows for key in ("load_success", "residual_byte_error_rate") if row[key]
    )
    yield f"Intervals, fixed numbers of tapes: {shown('; '.join(methods), 4000)}."
    yield (
        "On the frontier: no other row of that channel and receiver is at least as good in both useful bytes/s and "
        "residual byte error and better in one. The upright line is the least of the bounds that no format exceeds."
    )
    yield (
        "Lost to: failing tapes are played again, the same in all but one effect, which is taken away; what makes the "
        "tape load is what it could not bear. Several that each repair it acted together. Heard by simulated hardware, "
        "a tape that the codec's own decoder reads was lost by the hardware."
    )
    swept = next((entry["sweep_tapes"] for entry in evidence if "sweep_tapes" in entry), None)
    if swept is not None:
        yield (
            f"Knobs: {swept} tapes at each setting, the first {swept} of the study's, from half to twice as bad; a "
            "figure in dB moves by 6 dB. Clopper-Pearson 95 % two-sided."
        )
    unseen = dict.fromkeys(entry["unseen"] for entry in evidence if "unseen" in entry)
    for reason in unseen:
        count = sum(entry.get("unseen") == reason for entry in evidence)
        yield f"{count} of {len(rows)} rows are not looked behind: {shown(reason)}."


def _first(rows: Sequence[Mapping[str, Any]], key: str) -> list[Mapping[str, Any]]:
    return [next(row for row in rows if row[key] == name) for name in names(rows, key)]
