"""The hardware sections of a build sheet: parts, coils, supply and front end."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from .page_elements import down, grid, shown, spread


def parts_section(record: Mapping[str, Any]) -> Iterator[str]:
    """What to buy, and what the coils draw."""
    parts, coils, supply = (record["build"][key] for key in ("parts", "coils", "supply"))
    yield "<h2>6. Parts</h2>"
    poles = ", ".join(f"{count} with {poles} poles" for poles, count in parts["by_poles"].items())
    yield f"<p><b>{parts['relay_count']} relays</b>: {shown(poles)}. Memory belongs to the machine that is loaded.</p>"
    rows = [
        (entry["count"], entry["poles"], entry["kind"], entry["purpose"], f"{entry['operations_a_byte']:g}")
        for entry in parts["relays"]
    ]
    yield grid(("relays", "poles each", "kind", "for", "operations a byte"), rows, numbers={0, 1, 4})
    zeners = f", each in series with one of {parts['zeners']} zeners" if parts["zeners"] else ""
    yield (
        f"<p>Diodes: {parts['isolating_diodes']} isolating, {parts['clamp_diodes']} clamping{zeners}, "
        f"{parts['rectifier_diodes']} rectifying. Capacitors: {parts['capacitors']}.</p>"
    )
    for check in record["build"]["checks"]:
        caught, missed = ("; ".join(map(shown, check[key])) for key in ("catches", "misses"))
        yield f"<p>Layer {shown(check['layer'])} catches {caught}. It does not see {missed}.</p>"
    yield "<h3>Coils</h3>"
    drawn = [
        (
            f"{coil['role']}: {coil['kind']}",
            f"{coil['coil_v']:g} V, {coil['ohm'][1]:g} ohm",
            f"{coil['rated_ma']:.1f}",
            f"{coil['most_ma']:.1f}",
            f"{coil['most_w']:.2f}",
            coil["clamp"] or "none: its reservoir feeds it",
        )
        for coil in coils
    ]
    yield grid(("relay", "coil", "rated mA", "most mA", "most W", "clamp"), drawn, numbers={2, 3, 4})
    spreads = ("pick_up_v", "drop_out_v", "operate_ms", "release_ms", "bounce_ms")
    heads = ("relay", "pick-up, V", "drop-out, V", "operate, ms", "release, ms", "bounce, ms", "life, million")
    limits = [
        (coil["role"], *(spread(coil[key]) for key in spreads), f"{coil['mechanical_operations'] / 1e6:g}")
        for coil in coils
    ]
    yield grid(heads, limits)
    yield (
        '<p class="source">Least, typical and most at 20 C, without suppressor, bounce not in the operate time, rated '
        "mechanical life: typical figures of the set. Most mA and W: computed, highest supply "
        "into the least resistance at 20 C.</p>"
    )
    steps = parts["step_currents_a"]
    yield (
        f"<p>Supply {supply['voltage_v']:g} V, give or take {supply['tolerance_percent']:g} %: "
        f"{1e3 * min(steps):.0f} to {1e3 * max(steps):.0f} mA in a step with all latches in, "
        f"{1e3 * supply['peak_a']:.0f} mA at most at once. The busiest relay operates "
        f"{parts['operations_a_load']:.0f} times a load; the rated mechanical life lasts about "
        f"{down(parts['loads_of_life'])} loads (computed).</p>"
    )


def _filter_rows(tuned: Mapping[str, Any]) -> list[tuple[str, str]]:
    """The circuit between the amplifier of a track and the relay of its second tone."""
    circuit = (
        f"{tuned['resistance_ohm']:.0f} ohm in series, then {tuned['inductance_mh']:g} mH beside "
        f"{tuned['capacitance_nf']:.1f} nF to ground: Q {tuned['quality']:g}, tuned to {tuned['tone_hz']:g} Hz within "
        f"{tuned['tuning_percent']:g} %"
    )
    behind = f"gain {tuned['gain']:g}, like the first, with rectifier, reservoir and relay of its own"
    return [("tone filter", circuit), ("amplifier behind it", behind)]


def front_end_section(record: Mapping[str, Any]) -> Iterator[str]:
    """Each track's electronics."""
    front = record["build"]["front_end"]
    yield "<h2>7. Front end, one a track</h2>"
    rectifiers = {
        "half": "half-wave, one diode",
        "bridge": "bridge, four diodes",
        "centre_tap": "centre tap, two diodes",
    }
    rows = [
        ("amplifier", f"{front['gain_v']:g} V for a full-scale peak, clips at {front['clip_v']:g} V peak"),
        ("output impedance", f"{front['output_ohm']:g} ohm"),
    ]
    if front["transformer_ratio"] != 1 or front["winding_ohm"] or front["leakage_mh"]:
        leaks = f", {front['leakage_mh']:g} mH of leakage" if front["leakage_mh"] else ""
        rows.append(("transformer", f"1 : {front['transformer_ratio']:g}, {front['winding_ohm']:g} ohm{leaks}"))
    slow = f", {front['recovery_us']:g} us of recovery" if front["recovery_us"] else ""
    rows.append(("rectifier", f"{rectifiers[front['rectifier']]}, {front['diode_v']:g} V each{slow}"))
    if front["top_tone_hz"] is not None:
        # Rounded down: more must not be promised.
        rows.append(("highest tone that it follows", f"{down(front['top_tone_hz'])} Hz (computed)"))
    if front["freewheel_diode"]:
        rows.append(("freewheel diode", "across the coil"))
    rows.append(("reservoir", f"{front['reservoir_uf']:g} uF, give or take {front['reservoir_percent']:g} %"))
    if front["driver"] == "transistor":
        threshold = f"turns on at {front['threshold_v']:g} V, bleeder {front['bleed_ohm']:g} ohm"
        rows.append(("transistor driver", threshold))
    if front["tone_filter"] is not None:
        rows += _filter_rows(front["tone_filter"])
    yield grid(("part", "value"), rows)
    largest = front["largest_reservoir_uf"]
    if largest is None:
        yield (
            f"<p>No reservoir lets the slowest input relay go within the {front['release_within_ms']:.1f} ms that are "
            "there for it: the relay itself is too slow for this step.</p>"
        )
    else:
        yield (
            f"<p><b>Largest reservoir: {down(largest)} uF</b> nominal. With more the slowest input relay does not "
            f"let go within {front['release_within_ms']:.1f} ms of a burst's end, which is a silence on a fast tape "
            "less what arming the next step needs. A larger one than the table's also makes every clock longer, and so "
            "more like a reset mark: compute the timing again before you change it.</p>"
        )
    released = "" if front["release_ms"] is None else f"; it lets go {front['release_ms']:.1f} ms after a burst"
    yield (
        f"<p>On a steady tone at the quietest level the coil carries {front['quietest_mean_ma']:.1f} mA, between peaks "
        f"no less than {front['quietest_least_ma']:.1f} mA; a typical relay picks up at {front['pick_up_ma']:.1f} mA "
        f"and drops out at {front['drop_out_ma']:.1f} mA{released}.</p>"
    )
    yield (
        '<p class="source">Values: typical, from the set. Currents, release and largest reservoir: from the front-end '
        "simulation, the largest in the slowest of four corners.</p>"
    )
