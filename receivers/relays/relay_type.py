"""Relay type: the data sheet of one kind of relay; and Relay: one piece of it, drawn from the spreads.

Operate and release times are at rated voltage and 20 C, without a suppressor, bounce not included (IEC 61810 terms;
data sheets say "without diode, excluding bounce"). What of the operate time is not the coil's own rise is travel of
the armature, which voltage and temperature leave alone; the spread of the data sheet is put on the travel.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

from .coil import Clamp, Coil, copper
from .front_end import CONTACT_FOLLOW, Armature
from .spread import Spread
from .toml_section import Section

QUANTITIES = ("resistance", "pick_up", "drop_out", "operate", "release", "bounce")
"""What differs from one relay to the next."""

CONTACT_FORMS = ("changeover", "make")

WORN_BOUNCE = 1.0
"""Bounce grows by this share of itself until rated life (modelling prior: makers publish no curve)."""

BEYOND_THE_RISE, HIGHEST_PICK_UP = 1.01, 0.95
"""However far a spread is stretched: a relay comes in no sooner than so many times its coil's own rise, and at no more
than this share of the rated voltage."""


@dataclass(frozen=True, slots=True)
class Switched:
    """How one relay behaves when a contact or a transistor switches its coil.

    Attributes:
        operate_s: coil on to make contact touching; infinite if the voltage is too low.
        bounce_s: from the first touch to the last closing.
        leave_s: coil off to make contact open.
        release_s: coil off to break contact closed.
    """

    operate_s: float
    bounce_s: float
    leave_s: float
    release_s: float


@dataclass(frozen=True, slots=True)
class Relay:
    """One relay, at 20 C."""

    resistance_ohm: float
    released_h: float
    operated_h: float
    pick_up_a: float
    drop_out_a: float
    travel_in_s: float
    travel_out_s: float
    bounce_s: float

    def coil(self, temperature_c: float) -> Coil:
        """Its coil at that temperature: the copper changes, the ampere-turns do not."""
        ohms = copper(self.resistance_ohm, temperature_c)
        return Coil(ohms, self.released_h, self.operated_h, self.pick_up_a, self.drop_out_a)

    @property
    def armature(self) -> Armature:
        """Its armature."""
        return Armature(self.travel_in_s, self.travel_out_s)

    def switched(self, volts: float, temperature_c: float, clamp: Clamp) -> Switched:
        """Its times at ``volts`` across the coil."""
        coil = self.coil(temperature_c)
        decay = coil.decay_s(volts / coil.resistance_ohm, clamp)
        return Switched(
            operate_s=coil.rise_s(volts) + self.travel_in_s,
            bounce_s=self.bounce_s,
            leave_s=decay + CONTACT_FOLLOW * self.travel_out_s,
            release_s=decay + self.travel_out_s,
        )


@dataclass(frozen=True, slots=True)
class RelayType:
    """One kind of relay.

    Attributes:
        title: what kind, without a maker.
        coil_v: rated voltage.
        resistance_ohm: at 20 C.
        released_h, operated_h: inductance with the armature away and in.
        pick_up, drop_out: as shares of the rated voltage at 20 C.
        operate_s, release_s: see the module's text.
        bounce_s: longest bounce of a new contact.
        poles: contact sets.
        form: ``changeover`` or ``make`` (no break contact).
        contact_ohm: a closed contact, new.
        mechanical_operations, electrical_operations: rated life.
    """

    title: str
    coil_v: float
    resistance_ohm: Spread
    released_h: float
    operated_h: float
    pick_up: Spread
    drop_out: Spread
    operate_s: Spread
    release_s: Spread
    bounce_s: Spread
    poles: int
    form: str
    contact_ohm: float
    mechanical_operations: float
    electrical_operations: float

    @classmethod
    def read(cls, section: Section) -> RelayType:
        """From a table of a set file.

        Raises:
            UsageError: a figure that is missing, out of range or against another, with its place in the file.
        """
        made = cls(
            title=section.word("title"),
            coil_v=section.number("coil_v", low=1, high=120),
            resistance_ohm=Spread.within(
                section.number("resistance_ohm", low=1, high=100_000),
                section.number("resistance_percent", 10.0, low=0, high=30),
            ),
            released_h=section.number("released_h", low=1e-4, high=1000),
            operated_h=section.number("operated_h", low=1e-4, high=1000),
            pick_up=section.spread("pick_up_percent").scaled(0.01),
            drop_out=section.spread("drop_out_percent").scaled(0.01),
            operate_s=section.spread("operate_ms").scaled(1e-3),
            release_s=section.spread("release_ms").scaled(1e-3),
            bounce_s=section.spread("bounce_ms").scaled(1e-3),
            poles=section.whole("poles", low=1, high=12),
            form=section.word("form", "changeover", CONTACT_FORMS),
            contact_ohm=section.number("contact_ohm", 0.1, low=0, high=10),
            mechanical_operations=section.number("mechanical_operations", low=1),
            electrical_operations=section.number("electrical_operations", low=1),
        )
        section.close()
        if made.pick_up.high >= 1.0:
            raise section.refusal("pick_up_percent", f"must stay below the rated 100, not {100 * made.pick_up.high:g}.")
        if made.drop_out.high >= made.pick_up.low:
            raise section.refusal(
                "drop_out_percent",
                f"must stay below pick-up: a relay with release at {100 * made.drop_out.high:g} % and pick-up at "
                f"{100 * made.pick_up.low:g} % would never rest.",
            )
        if made.operated_h < made.released_h:
            raise section.refusal("operated_h", "must be at least 'released_h': the closed iron has more inductance.")
        if made.operate_s.low <= made.rise_s:
            raise section.refusal(
                "operate_ms",
                f"must be longer than the coil's own rise to pick-up, {1e3 * made.rise_s:.3g} ms "
                f"(released_h / resistance_ohm), not {1e3 * made.operate_s.low:g}.",
            )
        return made

    def spread(self, factor: float) -> RelayType:
        """The kind with its times, pick-up and drop-out ``factor`` times as far from the typical ones.

        As far as a relay can be so: pick-up stays below ``HIGHEST_PICK_UP``, drop-out below the middle between what the
        data sheet has for both, no coil gets quicker than its own rise, and no time shorter than a tenth of the least.
        """
        between = (self.drop_out.high + self.pick_up.low) / 2
        return replace(
            self,
            pick_up=self.pick_up.times(factor, between, max(HIGHEST_PICK_UP, self.pick_up.high)),
            drop_out=self.drop_out.times(factor, 0.1 * self.drop_out.low, max(0.99 * between, self.drop_out.high)),
            operate_s=self.operate_s.times(factor, min(self.operate_s.low, BEYOND_THE_RISE * self.rise_s)),
            release_s=self.release_s.times(factor, 0.1 * self.release_s.low),
            bounce_s=self.bounce_s.times(factor, 0.1 * self.bounce_s.low),
        )

    @property
    def rise_s(self) -> float:
        """The coil's own rise to pick-up, typical, at rated voltage and 20 C: part of the operate time."""
        return -self.released_h / self.resistance_ohm.typical * math.log1p(-self.pick_up.typical)

    @property
    def coil_a(self) -> float:
        """Coil current at rated voltage and 20 C, typical."""
        return self.coil_v / self.resistance_ohm.typical

    def relay(self, place: Callable[[str], float], worn: float = 0.0) -> Relay:
        """The relay that stands at ``place(quantity)`` (-1 least, 0 typical, 1 most) of each of ``QUANTITIES``.

        Args:
            place: called once for each quantity, in their order.
            worn: share of its rated life that is used up.
        """
        at = {quantity: place(quantity) for quantity in QUANTITIES}
        ohms = self.resistance_ohm.at(at["resistance"])
        return Relay(
            resistance_ohm=ohms,
            released_h=self.released_h,
            operated_h=self.operated_h,
            # A data sheet promises voltages for every winding within tolerance.
            pick_up_a=self.pick_up.at(at["pick_up"]) * self.coil_v / ohms,
            drop_out_a=self.drop_out.at(at["drop_out"]) * self.coil_v / ohms,
            travel_in_s=self.operate_s.at(at["operate"]) - self.rise_s,
            travel_out_s=self.release_s.at(at["release"]),
            bounce_s=self.bounce_s.at(at["bounce"]) * (1 + WORN_BOUNCE * worn),
        )
