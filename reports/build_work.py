"""What a builder does with the machine: lining it up with lamps, and what to expect of it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any


def line_up(build: Mapping[str, Any]) -> Iterator[str]:
    """The procedure, step by step, with the figures of this machine.

    Args:
        build: as ``receivers.relays.build_record`` makes it.
    """
    keying, timed, level, front = build["keying"], build["timing"], build["line_up"], build["front_end"]
    table = timed["table"]
    yield (
        "Give a lamp (of the supply's voltage, or a light-emitting diode with its resistor) to each input relay, each "
        "step relay, each bit latch and each line, on a contact that does nothing else or beside the coil that it "
        "feeds."
    )
    yield (
        f"Without a tape: connect the supply through its fuse and measure it: {build['supply']['voltage_v']:g} V, give "
        f"or take {build['supply']['tolerance_percent']:g} %. No lamp may be lit. Then step by hand with a key across "
        f"the clock contact: the step lamps walk from 1 to {table['steps']} and begin again; the lamps of the lines "
        "light in the steps of section 4."
    )
    seconds = (
        f"The recording begins with {keying['line_up_s']:g} s of it; for a longer one set line_up_s in the format."
        if keying["line_up_s"]
        else "The format has none: give it one with line_up_s."
    )
    yield f"Play the line-up tone, the steady tone on both tracks. {seconds}"
    clips = " The amplifier clips long before that, as it shall." if level["quietest_peak_v"] > front["clip_v"] else ""
    yield (
        f"Turn the level down until a lamp goes out, then up until both lamps are steady, and on to the middle of the "
        f"window, {level['middle_db']:g} dB re full scale. The window is {level['window_db']:g} dB wide: without "
        f"clipping the amplifier would give {level['quietest_peak_v']:.3g} V peak at its lower end and "
        f"{level['loudest_peak_v']:.3g} V at its upper (computed: gain times level).{clips}"
    )
    yield (
        f"Both tracks alike, within a decibel. Lit are then both lamps in the tone, and none in the silence after it. "
        f"The lamp of the {keying['roles']['left']} relay must go out when the left plug is pulled; if the other one "
        "does, exchange the plugs."
    )
    if level["reset_delay_ms"] is not None:
        yield (
            f"Set the slow relay that tells a reset mark from a clock to {level['reset_delay_ms']:.1f} ms, within "
            f"{level['reset_percent']:g} %: {level['reset_share_percent']:g} % of the way from a clock burst of "
            f"{keying['clock_burst_ms']:.3g} ms to a mark of {keying['mark_ms']:.3g} ms. Its lamp blinks once a byte. "
            "If it blinks in other steps it is too quick; if it never does, too slow."
        )
    yield (
        "Arm the machine in the silence after the tone, with the sequencer at home, the latches clear and the address "
        f"at {table['first_address']}. The first burst finds step 1."
    )
    yield (
        "Let a tape of one repeated byte run, then stop the deck: the memory shows how many bytes went in. Too few or "
        "too many: look at the clock track and its relay. The right number with wrong bits: "
        "at the data track and its relay."
    )


def success(load: Mapping[str, Any]) -> str:
    """The share of tapes that load right, with its interval.

    >>> success({"rate": 1.0, "low": 0.9119, "high": 1.0})
    '100.0 % (91.2 to 100.0)'
    """
    return f"{100 * load['rate']:.1f} % ({100 * load['low']:.1f} to {100 * load['high']:.1f})"
