"""Front end: from a tone burst to the current in a relay coil, and to its contact.

Amplifier (gain, clipping, output impedance), optional step-up transformer, half or full-wave rectifier with its
drops, reservoir C, coil R and L; or a transistor that the reservoir turns on and that switches the coil from the
supply, with a clamp. The coil on the rectifier is *not* switched: when the tone stops, the reservoir discharges into
it, and a bridge then lets it freewheel at two drops. While the rectifier conducts

    C dv/dt = (e - v)/R_s - i,    L di/dt = v - R i,    e = |amplifier| - drops,

without the first term while it does not, and v cannot fall below the freewheeling drop.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from ...contracts.errors import UsageError
from .coil import PLAIN_DIODE, Clamp

RECTIFIERS = ("half", "bridge", "centre_tap")
DRIVERS = ("none", "transistor")

NOTHING_LEFT = 1e-3
"""Share of a tone that stands for none, where diodes conduct both ways."""

CONTACT_FOLLOW = 0.2
"""Share of the travel over which a closed contact stays closed (spring follow-through; common practice)."""


@dataclass(frozen=True, slots=True)
class FrontEnd:
    """One track's electronics.

    Attributes:
        gain_v: volts out for a full-scale sample.
        clip_v: where the amplifier clips.
        output_ohm: its output impedance.
        transformer_ratio: secondary over primary turns; 1 without a transformer.
        winding_ohm: resistance of the windings, seen from the secondary.
        rectifier: one of ``RECTIFIERS``: one drop (half, centre_tap) or two (bridge).
        diode_v: forward drop.
        recovery_s: how long a diode goes on conducting backwards after its half-wave.
        leakage_h: leakage inductance of the transformer, seen from the secondary.
        freewheel_diode: a diode across the coil; a bridge needs none.
        reservoir_f: the capacitor; 0 for none.
        driver: ``none``: the coil hangs on the reservoir; ``transistor``: it is switched from the supply.
        bleed_ohm: what discharges the reservoir of a transistor driver.
        threshold_v: reservoir voltage at which the transistor turns on.
        supply_v: behind the transistor, its saturation voltage taken off.
        clamp: across the coil of a transistor driver.

    Raises:
        UsageError: a figure out of its range.
    """

    gain_v: float
    clip_v: float
    output_ohm: float
    transformer_ratio: float = 1.0
    winding_ohm: float = 0.0
    rectifier: str = "bridge"
    diode_v: float = 0.7
    freewheel_diode: bool = False
    reservoir_f: float = 0.0
    driver: str = "none"
    bleed_ohm: float = 4_700.0
    threshold_v: float = 1.4
    supply_v: float = 12.0
    clamp: Clamp = PLAIN_DIODE
    recovery_s: float = 0.0
    leakage_h: float = 0.0

    def __post_init__(self) -> None:
        for name in ("gain_v", "clip_v", "output_ohm", "transformer_ratio", "bleed_ohm"):
            if not getattr(self, name) > 0:
                raise UsageError(f"front_end: '{name}' must be above 0, not {getattr(self, name):g}.")
        for name in ("winding_ohm", "diode_v", "reservoir_f", "threshold_v", "supply_v", "recovery_s", "leakage_h"):
            if not getattr(self, name) >= 0:
                raise UsageError(f"front_end: '{name}' must be at least 0, not {getattr(self, name):g}.")
        if self.rectifier not in RECTIFIERS:
            raise UsageError(f"front_end: 'rectifier' must be one of {', '.join(RECTIFIERS)}, not {self.rectifier}.")
        if self.driver not in DRIVERS:
            raise UsageError(f"front_end: 'driver' must be one of {', '.join(DRIVERS)}, not {self.driver}.")
        if self.driver == "transistor" and self.clamp.kind == "resistor":
            raise UsageError("front_end: a transistor's 'clamp' must be none, diode or diode_zener, not resistor.")

    @property
    def drop_v(self) -> float:
        """What the rectifier takes off the peak."""
        return self.diode_v * (2 if self.rectifier == "bridge" else 1)

    @property
    def source_ohm(self) -> float:
        """Impedance behind the rectifier."""
        return self.output_ohm * self.transformer_ratio**2 + self.winding_ohm

    def at_tone(self, tone_hz: float) -> FrontEnd:
        """The same with what diodes and transformer lose of a tone taken off its volts and added to its resistance.

        A diode that conducts backwards for t after each half-wave takes the mean of a rectified sine down to
        cos(2 pi f t) of itself. Leakage L delays the current's change from one diode to the next, which costs as much
        as a resistance of 4 f L behind a bridge, 2 f L behind a centre tap and f L behind one diode (commutation of
        single-phase rectifiers, textbook).

        >>> bridge = FrontEnd(100.0, 16.0, 8.0, recovery_s=15e-6, leakage_h=1e-3)
        >>> slow = bridge.at_tone(5_000.0)
        >>> round(slow.clip_v, 3), slow.source_ohm
        (14.256, 28.0)
        """
        turn = min(2 * math.pi * tone_hz * self.recovery_s, math.pi / 2)
        share = max(math.cos(turn), NOTHING_LEFT)
        lost_ohm = {"bridge": 4.0, "centre_tap": 2.0, "half": 1.0}[self.rectifier] * tone_hz * self.leakage_h
        return replace(
            self,
            gain_v=share * self.gain_v,
            clip_v=share * self.clip_v,
            winding_ohm=self.winding_ohm + lost_ohm,
            recovery_s=0.0,
            leakage_h=0.0,
        )

    @property
    def floor_v(self) -> float:
        """How far below zero the coil can pull the reservoir."""
        if self.rectifier == "bridge":
            return -2 * self.diode_v
        return -self.diode_v if self.freewheel_diode else -1e9

    @property
    def peak_v(self) -> float:
        """Highest voltage that the reservoir can reach without load."""
        return self.clip_v * self.transformer_ratio - self.drop_v


@dataclass(frozen=True, slots=True)
class Armature:
    """How a relay's armature moves, without its coil's own rise and decay.

    Attributes:
        travel_in_s: from the pick-up current to the make contact.
        travel_out_s: from the drop-out current to the break contact.
    """

    travel_in_s: float
    travel_out_s: float

    def __post_init__(self) -> None:
        for name in ("travel_in_s", "travel_out_s"):
            if not getattr(self, name) > 0:
                raise UsageError(f"armature: '{name}' must be above 0, not {getattr(self, name):g}.")
