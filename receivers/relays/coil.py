"""Coil: how long a relay coil takes to pick up and to let go.

First order, before the armature moves: i = (V/R)(1 - exp(-t R/L)). Letting go through a clamp that holds V_c across
the coil: t = (L/R) ln((I0 + V_c/R) / (I_r + V_c/R)). Copper: R = R20 (1 + 0.00393 (T - 20)); the pick-up *current*
does not depend on temperature, so the pick-up voltage rises with R (relay makers' application notes).

The inductance is small while the armature is away (``released_h``) and larger when it has come in (``operated_h``):
picking up is governed by the first, letting go by the second.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from ...contracts.errors import UsageError

COPPER_PER_K = 0.003929
"""Temperature coefficient of copper at 20 C (IEC 60028)."""

REFERENCE_C = 20.0
CLAMPS = ("none", "diode", "diode_zener", "resistor")

ARC_V = 250.0
"""Where a coil without a clamp lets go: the opening contact's air gap, a few hundred volts and more (common practice;
makers' notes report 750 to 1,500 V). The release time hardly depends on it: above 100 V it is under 0.1 tau."""


def copper(resistance_ohm: float, temperature_c: float) -> float:
    """Resistance at ``temperature_c`` of a copper coil that has ``resistance_ohm`` at 20 C.

    >>> round(copper(90.0, 85.0), 2)
    112.98
    """
    return resistance_ohm * (1.0 + COPPER_PER_K * (temperature_c - REFERENCE_C))


@dataclass(frozen=True, slots=True)
class Clamp:
    """What limits the kick of a coil that a contact or a transistor switches off.

    Attributes:
        kind: one of ``CLAMPS``.
        zener_v: zener voltage of ``diode_zener``.
        resistor_ohm: of ``resistor``.
        diode_v: forward drop.
    """

    kind: str = "diode"
    zener_v: float = 0.0
    resistor_ohm: float = 0.0
    diode_v: float = 0.7

    def __post_init__(self) -> None:
        if self.kind not in CLAMPS:
            raise UsageError(f"clamp: 'kind' must be one of {', '.join(CLAMPS)}, not {self.kind}.")
        if self.kind == "diode_zener" and not self.zener_v > 0:
            raise UsageError(f"clamp: 'zener_v' must be above 0 for diode_zener, not {self.zener_v:g}.")
        if self.kind == "resistor" and not self.resistor_ohm > 0:
            raise UsageError(f"clamp: 'resistor_ohm' must be above 0 for resistor, not {self.resistor_ohm:g}.")

    @property
    def volts(self) -> float:
        """The voltage that the clamp holds while the current dies; 0 for a resistor, which is part of the circuit."""
        return {"none": ARC_V, "diode": self.diode_v, "diode_zener": self.diode_v + self.zener_v, "resistor": 0.0}[
            self.kind
        ]

    @property
    def ohms(self) -> float:
        """The resistance that the dying current flows through besides the coil's own."""
        return self.resistor_ohm if self.kind == "resistor" else 0.0

    def kick_v(self, current_a: float) -> float:
        """Voltage across the coil at the moment of switching off."""
        return self.volts + self.ohms * current_a


PLAIN_DIODE = Clamp()


@dataclass(frozen=True, slots=True)
class Coil:
    """One coil at one temperature.

    Attributes:
        resistance_ohm: at its temperature.
        released_h, operated_h: inductance with the armature away and in.
        pick_up_a: current at which the armature comes in.
        drop_out_a: current at which it lets go.

    Raises:
        UsageError: a figure that is not positive, or a drop-out current that is not below pick-up.
    """

    resistance_ohm: float
    released_h: float
    operated_h: float
    pick_up_a: float
    drop_out_a: float

    def __post_init__(self) -> None:
        for name in ("resistance_ohm", "released_h", "operated_h", "pick_up_a", "drop_out_a"):
            if not getattr(self, name) > 0:
                raise UsageError(f"coil: '{name}' must be above 0, not {getattr(self, name):g}.")
        if self.drop_out_a >= self.pick_up_a:
            raise UsageError(
                f"coil: the release current must be below the pick-up current, "
                f"not {1e3 * self.drop_out_a:.3g} mA with pick-up at {1e3 * self.pick_up_a:.3g} mA."
            )

    def rise_s(self, supply_v: float, source_ohm: float = 0.0) -> float:
        """Time from switching on to the pick-up current; infinite if the supply never gets there.

        >>> round(1e3 * Coil(360.0, 1.0, 1.0, 0.75 * 12 / 360, 0.003).rise_s(12.0), 4)
        3.8508
        """
        ohms = self.resistance_ohm + source_ohm
        share = self.pick_up_a * ohms / supply_v if supply_v > 0 else math.inf
        if share >= 1.0:
            return math.inf
        return -self.released_h / ohms * math.log1p(-share)

    def decay_s(self, from_a: float, clamp: Clamp) -> float:
        """Time from switching off at ``from_a`` until the current has fallen to drop-out; 0 if it is there already.

        >>> round(1e3 * Coil(360.0, 1.0, 1.0, 0.025, 12 / 3600).decay_s(12 / 360, Clamp("diode")), 4)
        5.2771
        """
        if from_a <= self.drop_out_a:
            return 0.0
        ohms = self.resistance_ohm + clamp.ohms
        offset = clamp.volts / ohms
        return self.operated_h / ohms * math.log((from_a + offset) / (self.drop_out_a + offset))
