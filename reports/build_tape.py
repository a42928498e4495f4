"""The sections of a build sheet about time: what stands on the tape, and every margin."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from .page_elements import figure, grid, milliseconds, shown
from .timing_text import short, together, verdict


def tape_section(record: Mapping[str, Any]) -> Iterator[str]:
    """Tones, bursts and steps."""
    keying, tape, build = record["build"]["keying"], record["build"]["tape"], record["build"]
    step = keying["step_ms"]
    if "clock" in keying["roles"].values():
        lengths = [
            ("clock burst", keying["clock_burst_ms"]),
            ("data burst (a 1)", keying["data_burst_ms"]),
            ("data leads the clock by", keying["lead_ms"]),
            ("silence between clock bursts", keying["silence_ms"]),
            ("reset mark: first clock burst of a byte", keying["mark_ms"]),
        ]
    else:
        lengths = [
            ("burst: on either track the bit, on both a step without one", keying["clock_burst_ms"]),
            ("silence between bursts", keying["silence_ms"]),
            ("reset mark: first burst of a byte", keying["mark_ms"]),
        ]
    lengths.append(("end mark", keying["end_mark_ms"]))
    rows = [
        ("step", milliseconds(step), "100 %"),
        (f"{keying['roles']['left']} on the left track, {keying['roles']['right']} on the right", "", ""),
        *((name, milliseconds(ms), f"{100 * ms / step:.0f} %") for name, ms in lengths if ms is not None),
        (
            f"byte: {keying['data_steps']} data and {keying['extra_steps']} extra steps",
            milliseconds(keying["byte_ms"]),
            "",
        ),
        ("line-up tone on both tracks", f"{keying['line_up_s']:g} s", ""),
    ]
    yield "<h2>2. The tape</h2>"
    yield grid(("", "length", "of a step"), rows, numbers={1, 2})
    order = "least" if keying["least_significant_first"] else "most"
    yield (
        f"<p>Tone {' and '.join(f'{tone:g} Hz' for tone in keying['tones_hz'])}; {order} significant bit first. The "
        f"machine is lined up for a tape {tape['speed_percent']:g} % fast or slow, tracks {tape['skew_ms']:g} ms "
        f"apart, the tone's peak {tape['quietest_db']:g} to {tape['loudest_db']:g} dB re full scale at the amplifier, "
        f"windings of {build['windings_c'][0]:g} to {build['windings_c'][1]:g} C.</p>"
    )
    yield '<p class="source">Lengths: from the codec, exact. Limits: from the set, to be checked on your deck.</p>'


def margins_section(record: Mapping[str, Any]) -> Iterator[str]:
    """Every path and what it has to spare."""
    timed = record["build"]["timing"]
    yield "<h2>3. Margins</h2>"
    yield f"<p>{shown(verdict(timed))}</p>"
    limiting = timed["limiting"]
    if timed["shortest_step_ms"] is not None:
        yield (
            f"<p>Shortest step that closes, bursts and lead keeping their shares: "
            f"<b>{timed['shortest_step_ms']:.1f} ms</b>. What limits it: {shown(limiting['path'])}, "
            f"{shown(limiting['where'])} ({shown(limiting['what'])}), with {shown(limiting['corner'])}.</p>"
        )
    rows = [
        (
            f"{margin['path']}, {margin['where']}",
            margin["what"],
            *(figure(margin[key]) for key in ("need_ms", "have_ms", "margin_ms")),
        )
        for margin in together(timed["margins"])
    ]
    limits = {0} if rows else set()
    yield grid(("path, place", "what", "needs", "has", "spare, ms"), rows, numbers={2, 3, 4}, limits=limits)
    if timed["recovery"] is not None:
        yield f"<p>Needed only after a lost clock: {shown(short(timed['recovery']))}.</p>"
    yield (
        '<p class="source">Computed for each path in its own worst corner of relay limits, capacitor, winding '
        "temperature, supply and its sag, contact and diode drops, tape speed, level and skew, with 0.1 ms of guard "
        "taken off. A need below nothing: the contacts are that far apart. Not a simulation "
        "of loads; that is section 9.</p>"
    )
