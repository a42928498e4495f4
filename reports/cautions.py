"""What to take care of when a sheet is built: electricity, heat, hearing and the law.

Limits and their sources: SELV, IEC 61558-1 as the International Electrotechnical Vocabulary words it (50 V a.c., 120 V
ripple-free d.c.); stricter for parts that can be touched, IEC 60598 (60 V d.c. dry, 30 V otherwise). Hearing: NIOSH
recommended exposure limit (publication 98-126): 85 dBA over 8 hours, 3 dB exchange rate. The rest is common practice.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

REL_DBA, REL_MINUTES, EXCHANGE_DB = 85.0, 480.0, 3.0

SELV_V, TOUCH_V = 120.0, 60.0


def allowed_minutes(level_dba: float) -> float:
    """How long in a day a level may be heard: T = 480 / 2^((L - 85) / 3) minutes (NIOSH 98-126).

    >>> [allowed_minutes(level) for level in (88, 91, 94, 97, 100)]
    [240.0, 120.0, 60.0, 30.0, 15.0]
    """
    return float(REL_MINUTES / 2 ** ((level_dba - REL_DBA) / EXCHANGE_DB))


def cautions(build: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """Heading and text of each caution, with the figures of this machine.

    Args:
        build: as ``receivers.relays.build_record`` makes it.
    """
    supply, front_end = build["supply"], build["front_end"]
    switched = [coil for coil in build["coils"] if coil["kick_v"] is not None]
    yield (
        "Mains-powered equipment.",
        "Do not open a deck, an amplifier or a supply that is connected to the mains, and do not build one: buy them "
        "tested. Their capacitors keep their charge after the plug is out. What needs the lid off with the power on is "
        "work for somebody licensed for it.",
    )
    yield (
        "Local codes.",
        "National and local codes say who may do which electrical work and what a building allows. They stand above "
        "this sheet.",
    )
    highest = max(supply["highest_v"], front_end["peak_v"])
    inside = f"{highest:.1f} V at most here, computed from the set"
    limits = f"safety extra-low voltage ends at {SELV_V:g} V d.c., and at {TOUCH_V:g} V for parts that can be touched"
    yield (
        "Extra-low voltage only.",
        f"Feed the relays from a safety isolating supply, {inside} ({limits}; lower where it is wet). No contact of "
        "this machine may switch mains.",
    )
    yield "Clamp every switched coil.", _clamped(switched)
    yield "Bridge-output amplifiers.", _bridge(front_end)
    fuse = (
        f"{_amperes(supply['fuse_a'])} slow, the next preferred rating above {supply['fuse_share']:g} times the "
        f"{_amperes(supply['peak_a'])} that the coils draw at most at once (computed)"
        if supply["fuse_a"] is not None
        else f"for the {_amperes(supply['peak_a'])} that the coils draw at most at once (computed); split the supply"
    )
    yield "Fuse the supply.", f"At the supply, not at the machine: {fuse}. Wire for more than the fuse."
    hottest = max(build["coils"], key=lambda coil: coil["most_w"])
    yield (
        "Hot coils.",
        f"A coil that is held gets hot: up to {hottest['most_w']:.2f} W in a {hottest['kind']} (computed, highest "
        f"supply into the least resistance). Space them, let air pass, and do not leave the line-up tone on for hours: "
        f"timing counts with windings of {build['windings_c'][0]:g} to {build['windings_c'][1]:g} C.",
    )
    minutes = ", ".join(f"{level} dBA {allowed_minutes(level):g} min" for level in (88, 94, 100))
    yield (
        "Loudspeakers and hearing.",
        "The tones are shrill and steady. Disconnect loudspeakers, or turn them down before you press play; never "
        "listen at record level with headphones. The recommended limit for a day is 85 dBA over 8 hours, and half the "
        f"time for each 3 dB more: {minutes} (NIOSH 98-126). How loud it is in your room nobody can compute from a "
        "tape: if you must raise your voice to be heard, it is too loud.",
    )


def _clamped(switched: list[Mapping[str, Any]]) -> str:
    bare = [coil for coil in switched if not coil["clamped"]]
    if bare:
        return (
            "The set has coils without a clamp. A coil that is switched off then makes hundreds of volts, which burn "
            "contacts and kill transistors and can be felt. Fit the clamp before you build, and compute the timing "
            "again."
        )
    kinds = "; ".join(
        f"{coil['role']} relays: {coil['clamp']}, kick {coil['kick_v']:.1f} V, "
        f"so {coil['across_switch_v']:.1f} V across what switches it off"
        for coil in switched
    )
    return (
        f"{kinds} (computed). Without its clamp a coil makes hundreds of volts when it is switched off. Another clamp "
        "lets the relay go at another time: compute the timing again."
    )


def _bridge(front_end: Mapping[str, Any]) -> str:
    rectifier = {"half": "a half-wave", "centre_tap": "a centre-tapped", "bridge": "a full-wave bridge"}
    ours = rectifier[front_end["rectifier"]]
    text = (
        "Many power amplifiers drive a loudspeaker from both ends, and neither terminal is ground. Bridge-output "
        "amplifiers must never share a ground with each other, with the deck or with the machine, nor feed a half-wave "
        f"rectifier. This front end has {ours} rectifier: "
    )
    if front_end["rectifier"] == "half":
        return text + "use it behind a single-ended amplifier or a transformer only."
    return text + "give each track its own, and join the machine to neither terminal of the amplifier."


def _amperes(current_a: float) -> str:
    return f"{current_a:.3g} A" if current_a >= 1 else f"{1e3 * current_a:.0f} mA"
