"""Relay set: everything about the hardware but its wiring, as one TOML file describes it.

The ready sets are typical figures of kinds of relay, of no maker. Replace them by the data sheet of what is bought.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, replace

from .coil import CLAMPS, Clamp
from .front_end import DRIVERS, RECTIFIERS, FrontEnd
from .relay_type import RelayType
from .toml_section import Section, names, read
from .tone_filter import FilterKind


@dataclass(frozen=True, slots=True)
class Supply:
    """What feeds the switched coils.

    Attributes:
        voltage_v: nominal.
        tolerance: give or take this share.
        resistance_ohm: source and wiring, through which the whole load flows.
        diode_v: drop of an isolating diode.
    """

    voltage_v: float
    tolerance: float
    resistance_ohm: float
    diode_v: float


@dataclass(frozen=True, slots=True)
class TapeLimits:
    """For what tape the machine is lined up.

    Attributes:
        speed: the tape may run this share too fast or too slow.
        skew_s: one track may lead the other by this.
        quietest_db, loudest_db: peak of the tone re full scale at the amplifier's input.
    """

    speed: float
    skew_s: float
    quietest_db: float
    loudest_db: float


@dataclass(frozen=True, slots=True)
class RelaySet:
    """One file.

    Attributes:
        name: of the file, without ``.toml``.
        title: what it is.
        content: hash of the file's bytes, as stored with results.
        clock, logic, latch: the relays at the front ends, in the sequencer, and of the bit latches.
        front_end: nominal.
        reservoir: tolerance of the capacitor, as a share.
        clamp: across the switched coils.
        supply, tape: see there.
        coldest_c, hottest_c: temperature of the windings.
        reset_share: where the delay of the slow relay that tells a reset mark from a clock is lined up, as a share of
            the way from a clock burst to a mark. Near the clock burst a long clock is taken for a mark; near the mark
            too little of it is left for the first step relay.
        reset: tolerance of that delay, as a share.
        worn: share of rated life used up.
        tone_filter: before the relays of a second tone; None in a set that hears one tone a track.
    """

    name: str
    title: str
    content: str
    clock: RelayType
    logic: RelayType
    latch: RelayType
    front_end: FrontEnd
    reservoir: float
    clamp: Clamp
    supply: Supply
    tape: TapeLimits
    coldest_c: float
    hottest_c: float
    reset_share: float
    reset: float
    worn: float
    tone_filter: FilterKind | None = None

    def spread(self, factor: float) -> RelaySet:
        """The set with all its relays ``factor`` times as far from the typical ones: see ``RelayType.spread``."""
        kinds = {role: getattr(self, role).spread(factor) for role in ("clock", "logic", "latch")}
        return replace(self, **kinds)


def ready_sets() -> tuple[str, ...]:
    """Names of the sets in the package."""
    return names("sets")


def load_set(source: str) -> RelaySet:
    """A set by the name of a ready one, or by a path that ends in ``.toml``.

    >>> load_set("signal_12v").clock.coil_v
    12.0

    Raises:
        UsageError: one line that says what is wrong and where in the file.
    """
    top, raw = read(source, "sets")
    title = top.word("title")
    top.word("note", "typical figures")
    relays = top.section("relays")
    clock = RelayType.read(relays.section("input"))
    logic = RelayType.read(relays.section("logic"))
    latch = RelayType.read(relays.section("latch")) if relays.has("latch") else logic
    relays.close()
    supply_section = top.section("supply")
    supply = Supply(
        supply_section.number("voltage_v", low=1, high=60),
        supply_section.number("tolerance_percent", 10.0, low=0, high=30) / 100,
        supply_section.number("resistance_ohm", 0.2, low=0, high=100),
        supply_section.number("diode_v", 0.7, low=0, high=2),
    )
    supply_section.close()
    for kind, role in ((logic, "logic"), (latch, "latch")):
        if kind.pick_up.high * kind.coil_v >= supply.voltage_v:
            raise supply_section.refusal(
                "voltage_v",
                f"must be above the pick-up of the {role} relays, {kind.pick_up.high * kind.coil_v:g} V, "
                f"not {supply.voltage_v:g} V.",
            )
    clamp = _clamp(top.section("clamp"))
    front_section = top.section("front_end")
    front_end, reservoir = _front_end(front_section, supply)
    if front_end.driver == "none" and clock.pick_up.high * clock.coil_v >= front_end.peak_v:
        raise front_section.refusal(
            "clip_v",
            f"leaves {front_end.peak_v:.3g} V behind the rectifier, and the input relays pick up at up to "
            f"{clock.pick_up.high * clock.coil_v:.3g} V.",
        )
    tone_filter = _tone_filter(top.section("tone_filter")) if top.has("tone_filter") else None
    tape_section = top.section("tape")
    quietest = tape_section.number("quietest_db", low=-60, high=6)
    tape = TapeLimits(
        tape_section.number("speed_error_percent", low=0, high=10) / 100,
        tape_section.number("skew_ms", low=0, high=10) / 1000,
        quietest,
        tape_section.number("loudest_db", low=quietest, high=12),
    )
    tape_section.close()
    warmth = top.section("windings")
    coldest = warmth.number("coldest_c", low=-40, high=120)
    hottest = warmth.number("hottest_c", low=coldest, high=155)
    warmth.close()
    reset_share = top.number("reset_share_percent", 40.0, low=5, high=95) / 100
    reset = top.number("reset_percent", 10.0, low=0, high=40) / 100
    worn = top.number("worn_percent", 0.0, low=0, high=100) / 100
    top.close()
    return RelaySet(
        name=source.removesuffix(".toml").rpartition("/")[2],
        title=title,
        content=hashlib.blake2b(raw, digest_size=8).hexdigest(),
        clock=clock,
        logic=logic,
        latch=latch,
        front_end=front_end,
        reservoir=reservoir,
        clamp=clamp,
        supply=supply,
        tape=tape,
        coldest_c=coldest,
        hottest_c=hottest,
        reset_share=reset_share,
        reset=reset,
        worn=worn,
        tone_filter=tone_filter,
    )


def _clamp(section: Section) -> Clamp:
    kind = section.word("kind", "diode", CLAMPS)
    clamp = Clamp(
        kind,
        section.number("zener_v", low=1, high=200) if kind == "diode_zener" else 0.0,
        section.number("resistor_ohm", low=1, high=1e6) if kind == "resistor" else 0.0,
        section.number("diode_v", 0.7, low=0.1, high=2) if kind.startswith("diode") else 0.7,
    )
    section.close()
    return clamp


def _tone_filter(section: Section) -> FilterKind:
    kind = FilterKind(
        section.number("quality", low=1, high=50),
        section.number("tuning_percent", low=0, high=10) / 100,
        section.number("gain", 1.0, low=0.01, high=1000),
        section.number("inductance_mh", low=0.1, high=10_000) / 1000,
    )
    section.close()
    return kind


def _front_end(section: Section, supply: Supply) -> tuple[FrontEnd, float]:
    driver = section.word("driver", "none", DRIVERS)
    switched: dict[str, float] = {}
    if driver == "transistor":
        switched = {
            "bleed_ohm": section.number("bleed_ohm", low=1, high=1e7),
            "threshold_v": section.number("threshold_v", low=0.1, high=24),
            "supply_v": supply.voltage_v,
        }
    front_end = FrontEnd(
        gain_v=section.number("gain_v", low=0.01, high=10_000),
        clip_v=section.number("clip_v", low=0.1, high=200),
        output_ohm=section.number("output_ohm", low=0.01, high=100_000),
        transformer_ratio=section.number("transformer_ratio", 1.0, low=0.1, high=50),
        winding_ohm=section.number("winding_ohm", 0.0, low=0, high=10_000),
        rectifier=section.word("rectifier", "bridge", RECTIFIERS),
        diode_v=section.number("diode_v", 0.7, low=0, high=2),
        recovery_s=section.number("recovery_us", 0.0, low=0, high=1000) * 1e-6,
        leakage_h=section.number("leakage_mh", 0.0, low=0, high=10_000) * 1e-3,
        freewheel_diode=section.yes("freewheel_diode", False),
        reservoir_f=section.number("reservoir_uf", low=0, high=100_000) * 1e-6,
        driver=driver,
        clamp=_clamp(section.section("clamp", optional=True)),
        **switched,
    )
    tolerance = section.number("reservoir_percent", 20.0, low=0, high=80) / 100
    section.close()
    return front_end, tolerance
