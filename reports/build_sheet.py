"""The build sheet: one self-contained page from which a relay machine for a format can be built. No script, no network.

Each figure says what it is: computed (from what) or typical (from the set, to be replaced by the data sheet of what is
bought). Names come from strangers' files and are escaped.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from html import escape
from typing import Any

from ..contracts.errors import in_one_line
from .build_hardware import front_end_section, parts_section
from .build_tape import margins_section, tape_section
from .build_work import line_up, success
from .cautions import cautions
from .page_elements import duration, grid, shown
from .sheet_style import STYLE
from .timing_diagram import byte_diagram, step_diagram
from .timing_text import verdict

LIMITED = "default-src 'none'; style-src 'unsafe-inline'"
"""The page's own rule for whoever shows it: nothing is fetched, nothing runs."""


MOST_STEPS_IN_WORDS = 16
"""In a table of more steps than that the columns have room for a letter."""

DOES = {
    "write": "writes the byte",
    "count": "counts the address up",
    "clear": "opens the latches' holding circuit",
    "copy": "sets the second bank as the latches stand",
    "release": "opens the second bank's holding circuit",
    "alarm": "alarm: fed if the latches do not fit their check",
    "lamp": "a lamp",
}


def build_sheet(record: Mapping[str, Any]) -> str:
    """The page.

    Args:
        record: ``codec``, ``receiver``, ``channel`` and their ``_spec``; ``program``, ``program_sha256``,
            ``payload_bytes``, ``tape_s``, ``seed``, ``version``; ``build`` as ``receivers.relays.build_record`` makes
            it; ``checks`` with what the layers catch and miss; ``load`` with the counts, the share loaded and its
            interval.
    """
    title = f"Build sheet: {in_one_line(record['program'], 60)} for relays"
    parts = (
        _head(record),
        _cautions(record),
        tape_section(record),
        margins_section(record),
        _steps(record),
        _diagrams(record),
        parts_section(record),
        front_end_section(record),
        _line_up(record),
        _load(record),
        _provenance(record),
    )
    return (
        f'<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        f'<meta http-equiv="Content-Security-Policy" content="{LIMITED}">'
        f'<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{escape(title)}</title><style>{STYLE}</style></head>\n<body>\n"
        + "\n".join(line for part in parts for line in part)
        + "\n</body></html>\n"
    )


def _head(record: Mapping[str, Any]) -> Iterator[str]:
    build, load = record["build"], record["load"]
    timed, keying = build["timing"], build["keying"]
    yield f"<h1>Build sheet: a relay machine that loads {shown(record['program'])}</h1>"
    yield (
        f'<p class="quiet">{shown(timed["table"]["title"])}. {shown(timed["set"]["title"])}. '
        f"Simulated, not built: what is typical must be replaced by the data sheets of what you buy.</p>"
    )
    if not timed["closes"]:
        yield (
            f'<div class="wrong"><b>Do not build this as it is.</b> {shown(verdict(timed))} {shown(_way_out(timed))}'
            "</div>"
        )
    if timed["hazards"]:
        items = "".join(f"<li>{shown(hazard['kind'])}: {shown(hazard['text'])}</li>" for hazard in timed["hazards"])
        yield f'<div class="wrong"><b>The table has hazards, whatever the step:</b><ul>{items}</ul></div>'
    facts = (
        ("tone", " and ".join(f"{tone:g} Hz" for tone in keying["tones_hz"])),
        ("step", f"{keying['step_ms']:g} ms"),
        ("shortest that closes", _shortest(timed)),
        ("relays", f"{build['parts']['relay_count']}"),
        ("load time", duration(record["tape_s"])),
        ("loads right", success(load)),
    )
    yield '<div class="facts">' + "".join(f"<div>{name}<b>{shown(told)}</b></div>" for name, told in facts) + "</div>"


def _way_out(timed: Mapping[str, Any]) -> str:
    shortest = timed["shortest_step_ms"]
    if shortest is None:
        return f"No step up to {timed['tried_up_to_ms']:g} ms closes with this set and table."
    return f"With the same shares of a step, {shortest:.1f} ms closes."


def _shortest(timed: Mapping[str, Any]) -> str:
    return "none" if timed["shortest_step_ms"] is None else f"{timed['shortest_step_ms']:.1f} ms"


def _cautions(record: Mapping[str, Any]) -> Iterator[str]:
    yield "<h2>1. Before anything else</h2>"
    items = "".join(f"<li><b>{shown(head)}</b> {shown(told)}</li>" for head, told in cautions(record["build"]))
    yield f'<ul class="care">{items}</ul>'


def _steps(record: Mapping[str, Any]) -> Iterator[str]:
    table, bits = record["build"]["timing"]["table"], record["build"]["timing"]["table"]["bit_steps"]
    yield "<h2>4. The steps</h2>"
    numbers = range(1, table["steps"] + 1)
    head = "".join(f"<th>{step}</th>" for step in numbers)
    bit_row = "".join(f"<td>{_latched(step, bits, table['bits_a_step'])}</td>" for step in numbers)
    crowded = table["steps"] > MOST_STEPS_IN_WORDS
    body = "".join(_step_row(line, numbers, crowded) for line in table["lines"])
    yield (
        f'<table class="steps"><thead><tr><th>step</th>{head}</tr></thead><tbody><tr><td>latch of bit</td>{bit_row}'
        f"</tr>{body}</tbody></table>"
    )
    if crowded:
        yield "<p>h: held. p: a pulse. s: fed backwards, which it must not be.</p>"
    told = {"step": "held while the step lasts", "clock": "a pulse while the clock contact is closed"}
    rows = [
        (
            line["name"],
            f"drives the {line['bus']} bus" if line["bus"] else DOES[line["action"]],
            told[line["when"]],
            ", ".join(line["uses"]) or "-",
            ", ".join(line["through"]) or "-",
        )
        for line in table["lines"]
    ]
    yield grid(("line", "does", "when", "must be steady before", "fed through"), rows)
    apart = {
        "diodes": "each step feeds each of its lines through a diode of its own",
        "poles": "each line has a pole of its own on the step's relay",
        "none": "nothing: lines that share a step are one wire",
    }
    yield (
        f"<p>Address: {table['address_bits']} bits, first address {table['first_address']}. What keeps the lines of a "
        f"step apart: {apart[table['isolation']]}.</p>"
    )
    for does in ("catches", "misses"):
        for what in record["checks"][does]:
            yield f"<p>The check <b>{does}</b> {shown(what)}.</p>"


def _latched(step: int, bit_steps: Sequence[int], bits_a_step: int) -> str:
    if step not in bit_steps:
        return ""
    first = bit_steps.index(step) * bits_a_step
    return ", ".join(str(bit) for bit in range(first + 1, first + bits_a_step + 1))


def _step_row(line: Mapping[str, Any], numbers: Iterable[int], crowded: bool) -> str:
    mark = "held" if line["when"] == "step" else "pulse"
    sneak = "sneak"
    if crowded:
        mark, sneak = mark[0], sneak[0]
    cells = "".join(
        f'<td class="on">{mark}</td>'
        if step in line["steps"]
        else f"<td>{sneak if step in line['sneaked_steps'] else ''}</td>"
        for step in numbers
    )
    return f"<tr><td>{shown(line['name'])}</td>{cells}</tr>"


def _diagrams(record: Mapping[str, Any]) -> Iterator[str]:
    build = record["build"]
    byte = build["byte"]
    bits = "".join(map(str, byte["bits"]))
    banked = any(line["action"] == "copy" for line in build["timing"]["table"]["lines"])
    after = ", while the byte before it is written" if banked else ""
    yield "<h2>5. One byte to scale</h2>"
    yield (
        f"<figure>{byte_diagram(byte, build['timing']['table'])}<figcaption>A byte that is {bits} on the tape, in the "
        f"order heard{after}, on a typical machine at the middle of the level window: envelope of the tape, current in "
        "both input coils with pick-up (long dashes) and drop-out (short dashes), and contacts. The notch in a current "
        "is the armature coming in. Grey: the steps in which the table holds the line. Currents from the front-end "
        "simulation, contacts from the simulated sequencer.</figcaption></figure>"
    )
    yield (
        f"<figure>{step_diagram(byte)}<figcaption>Step {byte['closeup']['step']} of it, near enough for the waveform "
        "and for the bounce of the contacts (drawn at its longest).</figcaption></figure>"
    )


def _line_up(record: Mapping[str, Any]) -> Iterator[str]:
    yield "<h2>8. Line-up, with lamps</h2>"
    items = "".join(f"<li>{shown(item)}</li>" for item in line_up(record["build"]))
    yield f'<ol class="work">{items}</ol>'


def _load(record: Mapping[str, Any]) -> Iterator[str]:
    load = record["load"]
    yield "<h2>9. What to expect</h2>"
    yield (
        f"<p>{record['payload_bytes']} bytes take {shown(duration(record['tape_s']))} of tape, leader and all: "
        f"{load['useful_bytes_per_s']:.2f} bytes a second (exact).</p>"
    )
    yield (
        f"<p>Of {load['trials']} simulated tapes over {shown(record['channel'])}, each on a machine drawn anew, "
        f"<b>{load['right']} loaded right</b>: {success(load)} ({shown(load['method'])}). {load['detected']} failed "
        f"and the format said so, {load['silent']} failed silently. The number of tapes was fixed beforehand.</p>"
    )
    yield '<p class="source">Simulated. Your deck and tape decide: measure them before you trust this.</p>'


def _provenance(record: Mapping[str, Any]) -> Iterator[str]:
    timed = record["build"]["timing"]
    yield "<h2>10. What this sheet was made from</h2>"
    rows = [
        ("format", record["codec_spec"]),
        ("machine", record["receiver_spec"]),
        ("channel", record["channel_spec"] or "nothing in the way"),
        ("table, set", f"{timed['table']['name']} {timed['table']['content']}, {timed['set']['name']} "
         f"{timed['set']['content']}"),
        ("program", f"{record['program']}, SHA-256 {record['program_sha256']}"),
        ("seed, version", f"{record['seed']}, {record['version']}"),
    ]  # fmt: skip
    cells = "".join(f'<tr><td>{name}</td><td class="spec">{shown(told, 4000)}</td></tr>' for name, told in rows)
    yield f'<table class="made">{cells}</table>'
