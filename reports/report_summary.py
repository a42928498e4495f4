"""The head of a report: what was asked, what a choice answered, and the fastest format of each channel."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from ..contracts.errors import in_one_line
from .page_elements import duration, grid, shown
from .report_words import byte_error, names, percent, success

_LONGEST_NAME = 60
_TOLD_APART = (("program", "program"), ("receiver", "heard by"))
"""What has a column of its own where the rows differ in it."""


def title(record: Mapping[str, Any]) -> str:
    """What the page is about."""
    programs = names(record["rows"], "program")
    about = in_one_line(programs[0], _LONGEST_NAME) if len(programs) == 1 else f"{len(programs)} programs"
    return f"Tape formats for {about}"


def summary_section(record: Mapping[str, Any]) -> Iterator[str]:
    """Title, facts, verdict and what stands out over each channel."""
    rows: Sequence[Mapping[str, Any]] = record["rows"]
    evidence = record["evidence"]
    yield f"<header><h1>{shown(title(record))}</h1>"
    yield (
        '<p class="quiet">Useful bytes per second against what is lost, over simulated tapes. Simulated: your deck '
        "and your tapes decide, so measure them before you build.</p>"
    )
    facts = [
        ("payload", " and ".join(f"{size:,} bytes" for size in sorted({row["payload_bytes"] for row in rows}))),
        ("formats", f"{len(names(rows, 'codec_spec'))}"),
        ("channels", f"{len(names(rows, 'channel_spec'))}"),
        ("tapes a row", _range([row["trials"] for row in rows if row["trials"]])),
        ("seed", ", ".join(str(seed) for seed in names(rows, "seed"))),
    ]
    receivers = [_name(receiver) for receiver in names(rows, "receiver")]
    if receivers != ["sound"]:
        facts.append(("heard by", " and ".join(receivers)))
    yield '<div class="facts">' + "".join(f"<div>{name}<b>{shown(told)}</b></div>" for name, told in facts) + "</div>"
    if record["verdict"]:
        yield '<div class="verdict"><h2>The answer</h2>'
        yield "".join(f"<p>{shown(sentence, 2000)}</p>" for sentence in record["verdict"]) + "</div>"
    yield "<h2>In short</h2>"
    several = [key for key, _ in _TOLD_APART if len(names(rows, key)) > 1]
    best = [
        (*(_name(where[key]) for key in ("channel", *several)), *told) for where, told in _stand_out(rows, evidence)
    ]
    heads = ["channel", *(dict(_TOLD_APART)[key] for key in several)]
    figures = {len(heads) + place for place in (1, 2, 3)}
    heads += ["most bytes/s without a lost tape", "bytes/s", "a load takes", "right", "shown", "and else"]
    yield '<div class="scrolls short" tabindex="0">' + grid(heads, best, numbers=figures) + "</div>"
    yield (
        '<p class="quiet">Shown: the least share of right loads that so many tapes prove, one-sided, with 95 % '
        "confidence. And else: the format on the frontier that is faster still and loses something.</p></header>"
    )


def _stand_out(
    rows: Sequence[Mapping[str, Any]], evidence: Sequence[Mapping[str, Any]]
) -> Iterator[tuple[Mapping[str, Any], Sequence[str]]]:
    """For each channel, program and receiver a row of theirs, and what stands out among them.

    Who refuses all formats stands out nowhere.
    """
    for channel in names(rows, "channel"):
        ours = [pair for pair in zip(rows, evidence, strict=True) if pair[0]["channel"] == channel]
        played: dict[tuple[str, str], list[tuple[Mapping[str, Any], Mapping[str, Any]]]] = {}
        for row, entry in ours:
            if row["trials"] and row["load_success"] is not None:
                played.setdefault((row["program"], row["receiver"]), []).append((row, entry))
        if not played:
            yield {**ours[0][0], "receiver": "-", "program": "-"}, ("no tape was played", "-", "-", "-", "-", "-")
        for alike in played.values():
            yield alike[0][0], _best(alike)


def _best(ours: Sequence[tuple[Mapping[str, Any], Mapping[str, Any]]]) -> Sequence[str]:
    whole = [pair for pair in ours if pair[0]["right"] == pair[0]["trials"]]
    if not whole:
        row, entry = max(ours, key=lambda pair: (pair[0]["right"] / pair[0]["trials"], pair[0]["useful_bytes_per_s"]))
        told = f"none; the fewest lost: {_name(row['codec'])}"
    else:
        row, entry = max(whole, key=lambda pair: pair[0]["useful_bytes_per_s"])
        told = _name(row["codec"])
    faster = [
        other
        for other, _ in ours
        if other["on_frontier"] and other["right"] and other["useful_bytes_per_s"] > row["useful_bytes_per_s"]
    ]
    beside = min(faster, key=lambda other: other["residual_byte_error_rate"]["rate"], default=None)
    also = (
        "-"
        if beside is None
        else f"{_name(beside['codec'])}: {beside['useful_bytes_per_s']:.1f} bytes/s, {success(beside)} right, "
        f"byte error {byte_error(beside)}"
    )
    return (
        told,
        f"{row['useful_bytes_per_s']:.1f}",
        duration(row["tape_s"]),
        f"{row['right']} of {row['trials']}",
        f"at least {percent(_down(entry['bounds']['success_at_least']))}",
        also,
    )


def _name(told: str) -> str:
    return in_one_line(told, _LONGEST_NAME)


def _down(share: float) -> float:
    return int(share * 1000) / 1000


def _range(counts: Sequence[int]) -> str:
    if not counts:
        return "none"
    return f"{min(counts)}" if min(counts) == max(counts) else f"{min(counts)} to {max(counts)}"
